"""Parts that several designs are made of: mats, lids, trays, walls, inserts. Imports `base`."""

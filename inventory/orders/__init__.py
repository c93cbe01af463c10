"""Orders and the designs they are made by. Imports `stock` and `shop`."""

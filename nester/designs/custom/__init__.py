"""A maker's own designs: read from TOML, checked and worked out. Imports all other designs."""

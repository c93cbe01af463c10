"""Paper geometry and packing: pure computation, no database, no terminal."""

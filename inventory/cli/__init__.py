"""The command line: options, one call, one table. Imports everything, is imported by nobody."""

"""Pictures of pieces, layouts, assemblies and charts. Imports `canvas`."""

"""The commands of `quirebox buy`."""

"""Designs: rules that turn a few sizes into exact pieces."""

"""The words of a problem and its answer, and exact lengths: plain data that everything else speaks.

Imports nothing of the project.
"""

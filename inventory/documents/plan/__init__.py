"""A batch's papers: cut sheets, lists, labels."""

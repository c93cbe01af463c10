"""What drawings are made with: marks, fonts, SVG and PDF. Imports nothing of the other drawings."""

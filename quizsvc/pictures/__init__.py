"""A picture description in, SVG text out. Pure; stands alone. Empty until the first kind that shows a picture."""

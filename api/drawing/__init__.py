"""Pictures as text: geometry and SVG elements, shared by the pages and by messages."""

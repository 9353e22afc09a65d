"""Files for GIS programs, their styles and metadata."""

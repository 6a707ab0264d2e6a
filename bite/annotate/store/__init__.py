"""Corner files on disk while somebody clicks."""

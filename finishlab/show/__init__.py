"""What commands have to say as values, and their renderers."""

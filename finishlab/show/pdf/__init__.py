"""The doorway to reportlab: sheets drawn in millimetres, and pages of blocks that flow over them."""

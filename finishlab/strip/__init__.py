"""The grey strip: its page, what is learned of its print and of cameras, trials at home, and their commands."""

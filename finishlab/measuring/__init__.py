"""Photos measured, logged and measured again: files and options to measurements, their documents and commands."""

"""The plan as it is shown: text, documents and calendar files."""

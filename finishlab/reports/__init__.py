"""What people and programs are shown: JSON, terminal text, the page, the printed strip. Nothing is measured here."""

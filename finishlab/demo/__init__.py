"""The demo: its story as data, where its rendered photos lie, and the folder it is made in."""

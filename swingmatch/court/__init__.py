"""The court in the picture: its painted lines, and how the camera stands to them."""

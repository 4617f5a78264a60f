"""How starts are laid on universes: anew, or as close as can be to what is typed into the boxes."""

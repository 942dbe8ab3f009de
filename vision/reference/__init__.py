"""What sets the scale of a photograph: a ruler or tape, the printed target, a card, clicked points."""

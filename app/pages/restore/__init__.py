"""Back to stock: the cases of a car, the checklist of one case, its certificate."""

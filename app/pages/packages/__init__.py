"""Release packages of a revision: issue one, hand it out, take what came back."""

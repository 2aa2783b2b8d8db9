"""The diff view: any two of stock and revisions of a control unit, map by map."""

"""One file per thing a person does: one function, one transaction, one journal entry."""

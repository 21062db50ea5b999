"""What the people of the house wrote down: typed records in the journal's plain form."""

"""Speed of the record: entries through the web API, walking the chain, building the tables anew."""

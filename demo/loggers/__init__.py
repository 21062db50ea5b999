"""The house's eleven loggers and the text files they leave; shares no code with any reader."""

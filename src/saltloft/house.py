"""Opens a house folder and wires everything; the only place that knows all parts."""

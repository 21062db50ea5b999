"""Speed, memory and honesty, each a module of its own; `scripts/bench NAME` runs one."""

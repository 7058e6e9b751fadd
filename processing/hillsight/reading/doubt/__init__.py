"""How far what is read can be trusted."""

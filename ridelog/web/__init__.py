"""The workshop page: drop logs, read figures, compare; nothing leaves this machine."""

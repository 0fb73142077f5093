"""The standing start: when the machine left zero, and the paths that go with it."""

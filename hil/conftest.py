"""`pytest hil ...` brings its options with it."""

pytest_plugins = ("hil.plugin",)

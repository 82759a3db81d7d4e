"""One module a command: ``add_arguments(parser)`` and ``act(arguments)``."""

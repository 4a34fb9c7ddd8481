"""Routes that are built when they are first requested.

To make a route, FastAPI reads the function's parameters and builds a reader for each, which takes longer than a request
does, and there are two hundred. Nobody waits for all of them at every start.
"""

from collections.abc import Callable
from typing import Any

from fastapi.routing import APIRoute
from starlette.routing import compile_path


class DeferredRoute(APIRoute):
    """A route that has its path and methods at once, and reads its function when any other attribute is accessed."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **options: Any) -> None:
        self.path, self.endpoint, self._options = path, endpoint, options
        self.path_regex, self.path_format, self.param_convertors = compile_path(path)
        self.methods = set(options["methods"])
        self.name = endpoint.__name__

    def __getattr__(self, name: str) -> Any:
        """Build the route when an attribute that does not exist yet is accessed."""
        options = self.__dict__.get("_options")
        if options is None:
            raise AttributeError(name)
        super().__init__(self.path, self.endpoint, **options)
        self.__dict__.pop("_options", None)  # twice, if two threads asked at once
        return getattr(self, name)

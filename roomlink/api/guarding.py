"""What stands before every handler: who asks, whether they may, and every error as a problem or a page."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from html import escape
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from roomlink.api import access, identity, problems
from roomlink.api.identity import Rule
from roomlink.core.access import PANEL
from roomlink.errors import CallerFault, NotAllowed, RoomlinkError
from roomlink.runtime.writer import Writer

Handler = Callable[[Request], Awaitable[Response]]

_REFUSED = """<!doctype html>
<html lang="en">
  <head>
    <meta charset="utf-8">
    <meta name="viewport" content="width=device-width, initial-scale=1">
    <title>Not allowed</title>
    <link rel="stylesheet" href="/web/styles/page.css">
    <script type="module" src="/web/pages/theme.js"></script>
  </head>
  <body>
    <header class="top"><span class="here">roomlink</span>
      <button type="button" id="theme" aria-label="Light theme">Light</button></header>
    <main>
      <h1>Not allowed</h1>
      <p>{why}.</p>
      <ul class="doors">{doors}</ul>
    </main>
    <footer class="caution">Not a safety function. Hard-wired protection, local codes and licensed practice come
      first.</footer>
  </body>
</html>
"""


def guarded(handler: Handler, rule: Rule, *, page: bool = False) -> Handler:
    """Runs ``handler`` for those whom ``rule`` lets in. Every error becomes a problem, and is counted."""

    async def run(request: Request) -> Response:
        try:
            if request.method not in ("GET", "HEAD"):
                access.refuse_foreign(request.headers, secure=identity.is_secure(request))
            identity.allow(identity.caller(request), rule, request.path_params)
            return await handler(request)
        except RoomlinkError as error:
            kind = error.kind if isinstance(error, CallerFault) else "our-fault"
            writer: Writer = request.app.state.writer
            writer.metrics.problem(kind)
            if page and isinstance(error, NotAllowed):
                return _page(request, error)
            return problems.response(error)

    return run


def _page(request: Request, fault: NotAllowed) -> Response:
    """For people: the way to sign in, or which role is needed."""
    if fault.status == 401:
        return RedirectResponse(f"/sign-in?next={quote(request.url.path)}", 303)
    who = identity.caller(request)
    door = '<li><a href="{}"><b>{}</b><span>{}</span></a></li>'
    doors = [door.format("/sign-in", "Sign in", "As somebody who may")]
    if who.kind == PANEL:
        own = quote(f"/panel/{who.controller}")
        doors.insert(0, door.format(own, "This panel", escape(f"What is paired here: {who.controller}")))
    return HTMLResponse(_REFUSED.format(why=escape(fault.detail.capitalize()), doors="".join(doors)), 403)

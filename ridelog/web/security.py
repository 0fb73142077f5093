"""What a request must bring: a served address, our own page behind it, a session, a measured pace.

Every request passes ``SecurityMiddleware`` first.
"""

from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import Message, Receive, Scope, Send

from ridelog.web.admission import RateLimiter, Session, Sessions, same_secret

# Bokeh sets styles on elements; scripts stay strict. The page works without any other address.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
# A page that was made to stand alone has no script and asks for nothing.
ALONE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), camera=(), microphone=()",
    "cache-control": "no-store",
}
_SAFE = ("GET", "HEAD")
# What a telephone may ask for before it has shown its code.
_OPEN = ("/enter", *(f"/static/{n}" for n in ("page.css", "colours.css", "enter.js", "times.js")))
TOKEN_HEADER = "x-ridelog-token"
# Fetch Metadata (W3C): where a request comes from; none means that the user typed or chose it.
_OURS = ("same-origin", "none")
_FROM_ELSEWHERE = "This request comes from another page and is refused."


class SecurityMiddleware:
    """Middleware: host, origin, session, rate; adds the headers that keep a page to itself.

    ``hosts`` are the values of Host that are served, with port; ``requests`` says how often a
    client from the network may ask; ``door`` answers whoever followed a link of another site, with
    a page that computes nothing and leads on; ``gate`` whoever sent a form without being let in.
    """

    def __init__(
        self,
        app: Starlette,
        *,
        hosts: frozenset[str],
        sessions: Sessions,
        requests: RateLimiter,
        door: Any,
        gate: Any,
    ) -> None:
        self.inner, self._hosts = app, hosts
        self._sessions, self._requests, self._door, self._gate = sessions, requests, door, gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass or refuse it with a sentence."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.inner(scope, receive, send)
            return
        headers = Headers(scope=scope)
        client = str((scope.get("client") or ("unknown", 0))[0])
        local = is_loopback(client)
        host = headers.get("host", "").lower()
        here = f"{scope.get('scheme', 'http')}://{host}"
        state = scope.setdefault("state", {})
        state.update(client=client, local=local, here=here, session=None, proven=False)
        cookie, answer = "", self._refused(scope["method"], headers, here, client)
        if answer is None:
            state["session"] = self._session(headers, host, local)
            state["proven"] = _is_vouched_for(headers) or state["session"] is not None
            answer, cookie = self._welcomed(scope, headers)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                sent = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    if name not in sent:
                        sent[name] = value
                if cookie:
                    sent.append("set-cookie", cookie)
            await send(message)

        await (answer or self.inner)(scope, receive, send_with_headers)

    def _refused(self, method: str, headers: Headers, here: str, client: str) -> Any:
        """Return the refusal of a request that nobody may make, else None."""
        host, local = here.partition("://")[2], is_loopback(client)
        if host not in self._hosts or local != is_loopback(host.rsplit(":", 1)[0].strip("[]")):
            return _refusal(421, "This address is not served here.")
        if not local and not self._requests.allow(client):
            return _refusal(429, "Too many requests. Wait a minute and try again.")
        if method not in _SAFE and not _same_origin(headers, here):
            return _refusal(403, _FROM_ELSEWHERE)
        return None

    def _welcomed(self, scope: Scope, headers: Headers) -> tuple[Any, str]:
        """Return what stands between this request and its page, and the cookie that it gets."""
        state = scope["state"]
        if _comes_from_elsewhere(headers, state["here"]):
            # No cookie: it would take the place of the one that this browser has.
            state["session"] = None
            if headers.get("sec-fetch-mode", "navigate") != "navigate":
                return _refusal(403, _FROM_ELSEWHERE), ""
            return self._door, ""
        if state["session"] is not None:
            return None, ""
        if state["local"]:
            session = state["session"] = self._sessions.of_this_machine()
            return None, session_cookie(state["here"], session)
        if scope["path"] in _OPEN:
            return None, ""
        if scope["method"] not in _SAFE:
            # Our scripts say so themselves, beside what was typed.
            shown = "text/html" in headers.get("accept", "")
            return self._gate if shown else _refusal(403, "Enter the code first."), ""
        query = scope.get("query_string", b"").decode("latin-1")
        back = scope["path"] + (f"?{query}" if query else "")
        onward = "" if back == "/" else f"?back={quote(back[:600], safe='', errors='replace')}"
        return RedirectResponse(f"/enter{onward}", 303), ""

    def _session(self, headers: Headers, host: str, local: bool) -> Session | None:
        try:
            jar = SimpleCookie(headers.get("cookie", "")[:8192])
        except CookieError:
            return None
        # SameSite=Strict: what another site sends brings no cookie.
        morsel = jar.get(cookie_name(host))
        return self._sessions.find(morsel.value, local=local) if morsel else None


def token_is_right(session: Session | None, given: str) -> bool:
    """Return whether a change carries the token of the page it was made on."""
    return session is not None and same_secret(given, session.token)


def cookie_name(host: str) -> str:
    """Return the cookie's name: ports of one host share their cookies, so it names the port."""
    port = host.rsplit(":", 1)[-1]
    return f"ridelog_{port if port.isdigit() else '80'}"


def session_cookie(here: str, session: Session) -> str:
    """Return the header that lets in a browser at an address such as "https://HOST:PORT"."""
    scheme, _, host = here.partition("://")
    # On plain HTTP browsers would drop a cookie that is "Secure".
    secure = "; Secure" if scheme == "https" else ""
    return f"{cookie_name(host)}={session.key}; Path=/; HttpOnly; SameSite=Strict{secure}"


def is_loopback(address: str) -> bool:
    """Return whether an address is this machine's own."""
    try:
        return address == "localhost" or ip_address(address).is_loopback
    except ValueError:
        return False


def _same_origin(headers: Headers, here: str) -> bool:
    """Return whether a change comes from a page of this very address."""
    return headers.get("origin") == here and headers.get("sec-fetch-site") in (None, *_OURS)


def _is_vouched_for(headers: Headers) -> bool:
    """Return whether the browser itself vouches that no other site sent this request."""
    return headers.get("sec-fetch-site") in _OURS


def _comes_from_elsewhere(headers: Headers, here: str) -> bool:
    """Return whether anything says that another site sent this request.

    On plain HTTP in a network browsers say little, and there the cookie alone decides.
    """
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if site is not None:
        return site not in _OURS
    if origin is not None:
        return origin != here
    referer = headers.get("referer", f"{here}/")
    return not f"{referer}/".startswith(f"{here}/")


def _refusal(status: int, words: str) -> PlainTextResponse:
    return PlainTextResponse(words + "\n", status)

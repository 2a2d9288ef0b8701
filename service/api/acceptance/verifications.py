"""What is behind the code on a package's first page: open to everybody who holds it, and nothing private in it."""

from typing import Annotated

from fastapi import APIRouter, Header, Request, Response

from service.actions.acceptance.verifications import find_verification
from service.api.acceptance.verification_page import POLICY, verification_page
from service.api.routing import CheckedRoute
from service.storage.session import snapshot
from service.vocabulary.verification import VerificationAnswer

router = APIRouter(prefix="/v1/verifications", route_class=CheckedRoute, tags=["packages"])
_HTML = "text/html"


@router.get("/{code}", response_model=VerificationAnswer, responses={200: {"content": {_HTML: {}}}})
def verify_package(
    request: Request,
    code: str,
    accept: Annotated[str | None, Header(description="With text/html the same is answered as a page.")] = None,
) -> Response | VerificationAnswer:
    """Tell what became of the package with this code, and the digests of its files. No token is needed."""
    with snapshot(request.app.state.engine) as session:
        answer = find_verification(session, code)
    if accept is None or _HTML not in accept:
        return answer
    headers = {"Cache-Control": "no-cache", "Content-Security-Policy": POLICY, "X-Robots-Tag": "noindex"}
    return Response(verification_page(answer), media_type=_HTML, headers=headers)

"""Results as JUnit XML, which build servers show."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

from roomlink.rehearsal.runner import Result


def junit(results: Sequence[Result], venue: str) -> str:
    """One test case a scenario; what differs is its failure, findings that kept it from running its error."""
    suite = ElementTree.Element(
        "testsuite",
        name=f"roomlink rehearse {venue}",
        tests=str(len(results)),
        failures=str(sum(bool(r.failures) for r in results)),
        errors=str(sum(bool(r.findings) for r in results)),
    )
    for result in results:
        case = ElementTree.SubElement(
            suite, "testcase", name=result.name, classname=venue, file=str(result.path), time=f"{result.seconds:.3f}"
        )
        if result.findings:
            error = ElementTree.SubElement(case, "error", message=_legal(f"{len(result.findings)} findings"))
            error.text = _legal("\n".join(map(str, result.findings)))
        elif result.failures:
            message = f"{len(result.failures)} of {result.steps} steps were not as expected"
            failure = ElementTree.SubElement(case, "failure", message=message)
            failure.text = _legal("\n".join(map(str, result.failures)))
    ElementTree.indent(suite)
    return ElementTree.tostring(suite, encoding="unicode", xml_declaration=True) + "\n"


def _legal(text: str) -> str:
    """XML has no way to write most control characters."""
    return "".join(char if char >= " " or char in "\n\t" else "?" for char in text)

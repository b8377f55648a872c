"""Studies: their plans, and what the strikes of the lab answer."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from quintain.domain.plain import plain
from quintain.errors import ConflictError, StudyError, StudyPlanError
from quintain.report.study_content import judge_study, study_sections
from quintain.report.verdict import Verdict
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_studies
from quintain.study.answers import StudyResult
from quintain.tasks.report import write_study_reports
from quintain.tasks.study import add_study, example_plan, kept_plan, run_study
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.navigation import Nav
from quintain.web.pages._report_file import report_file
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs

__all__ = ["NAV", "router"]

NAV = Nav("Studies", "/studies", 40)

router = APIRouter(include_in_schema=False)


@router.get("/studies")
def studies(request: Request, lab: CurrentLab) -> Response:
    """All studies, and a plan to begin from."""
    return _list(request, lab, example_plan("my-study"))


@router.post("/studies", dependencies=[needs(Role.ENGINEER)])
def add(
    request: Request, lab: CurrentLab, visitor: CurrentVisitor, plan: Annotated[str, Form()] = ""
) -> Response:
    """Keep a plan; one that cannot be used comes back with what is wrong, and nothing typed is lost."""
    try:
        kept = add_study(lab, plan.replace("\r\n", "\n"), who=visitor.who, origin="plan")
    except (StudyPlanError, ConflictError) as problem:
        return _list(request, lab, plan, str(problem), status=422)
    return RedirectResponse(f"/studies/{kept.code}", 303)


@router.get("/studies/{code}")
def study(request: Request, lab: CurrentLab, code: str) -> Response:
    """One study: the verdict, then question by question."""
    kept = kept_plan(lab, code)
    context: dict[str, Any] = {
        "plan": kept.plan, "text": kept.text, "added": f"{kept.added:%Y-%m-%d}",
    }  # fmt: skip
    try:
        result = run_study(lab, kept.plan)
    except StudyError as problem:
        verdict = Verdict("open", "Undecided", "There is nothing to answer from yet.", str(problem))
        return page(
            request, "study.html", judged=verdict, sections=(), people="no people", result=None, **context
        )
    return page(
        request,
        "study.html",
        judged=judge_study(result),
        sections=study_sections(result),
        people=f"{len(result.people)} people, {result.n_strikes} strikes",
        result=result,
        **context,
    )


@router.get("/studies/{code}/answers.json")
def answers(lab: CurrentLab, code: str) -> Response:
    """The answers as plain values."""
    result = _result(lab, code)
    return JSONResponse(plain(result.answers) | {"data_sha256": result.data_sha256})


@router.get("/studies/{code}/report.{kind}")
def report(lab: CurrentLab, code: str, kind: str, show: bool = False) -> Response:
    """The report as a file, or shown in the browser."""
    result = _result(lab, code)
    invented = lab.facts.invented
    return report_file(lambda folder: write_study_reports(result, folder, invented=invented), kind, show=show)


def _result(lab: Lab, code: str) -> StudyResult:
    return run_study(lab, kept_plan(lab, code).plan)


def _list(request: Request, lab: Lab, plan: str, problem: str = "", status: int = 200) -> Response:
    found = list_studies(lab)
    sentence = f"{len(found)} {'study' if len(found) == 1 else 'studies'}." if found else "No study yet."
    return page(
        request, "studies.html", status=status, studies=found, sentence=sentence, plan=plan, problem=problem
    )

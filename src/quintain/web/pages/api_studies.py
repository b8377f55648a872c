"""Studies: plans and their answers, for scripts."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import Path
from pydantic import ConfigDict, Field

from quintain.domain.plain import plain
from quintain.store.queries_lists import list_studies
from quintain.tasks.study import add_study, kept_plan, run_study
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import Answer, Asked, api_router, refusals
from quintain.web.security.roles import Role, needs

__all__ = ["router"]

router = api_router("studies", "/studies")

Code = Annotated[str, Path(max_length=200, description="Code of the study.", examples=["days"])]


class StudyOut(Answer):
    """A study in a list."""

    code: str = Field(examples=["days"])
    title: str
    added: datetime = Field(description="When its plan was fixed.")


class StudyWhole(StudyOut):
    """A study's plan."""

    question: str
    quantities: list[str] = Field(description="Names in the glossary.")
    sha256: str = Field(description="Of what the plan says.")
    plan: str = Field(description="The text of the plan (TOML).")


class Answers(Answer):
    """
    What the strikes of the lab answer to a plan.

    Questions that they cannot answer are refused in words. Every kind of answer has the fields of its
    class in quintain.study; numbers in the SI unit of their quantity.
    """

    n_strikes: int
    people: list[str]
    sessions: list[str]
    rigs: list[str]
    left_out: dict[str, int] = Field(description="Strikes left out, by reason.")
    data_sha256: str = Field(description="Of the numbers that went in.")
    answers: dict[str, Any]
    methods: Any = Field(description="How the numbers were come by, in sentences with their sources.")


class NewStudy(Asked):
    """A plan to be fixed; it cannot be changed afterwards."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "plan": 'code = "days"\ntitle = "Day to day"\nquestion = "Do they repeat?"\n'
                    'quantities = ["impulse"]\n\n[[reliability]]\nacross = "session"\nmodel = "2,1"\n'
                }
            ]
        }
    )

    plan: str = Field(max_length=200_000, description="Text of the plan (TOML), see the documentation.")


@router.get("")
def studies(lab: CurrentLab) -> list[StudyOut]:
    """List the studies, the newest first."""
    return [StudyOut.model_validate(row) for row in list_studies(lab)]


@router.post("", status_code=201, responses=refusals(400, 409, 413), dependencies=[needs(Role.ENGINEER)])
def new_study(lab: CurrentLab, visitor: CurrentVisitor, asked: NewStudy) -> StudyWhole:
    """Fix a plan; needs an engineer. The same plan again changes nothing."""
    return _whole(lab, add_study(lab, asked.plan, who=visitor.who, origin="plan").code)


@router.get("/{code}")
def study(lab: CurrentLab, code: Code) -> StudyWhole:
    """Give a study's plan."""
    return _whole(lab, code)


@router.get("/{code}/answers")
def answers(lab: CurrentLab, code: Code) -> Answers:
    """Answer a plan from the strikes as they are now; 422 where there is nothing to answer from."""
    result = run_study(lab, kept_plan(lab, code).plan)
    return Answers(
        n_strikes=result.n_strikes,
        people=list(result.people),
        sessions=list(result.sessions),
        rigs=list(result.rigs),
        left_out=dict(result.left_out),
        data_sha256=result.data_sha256,
        answers=plain(result.answers),
        methods=plain(result.methods),
    )


def _whole(lab: CurrentLab, code: str) -> StudyWhole:
    kept = kept_plan(lab, code)
    return StudyWhole(
        code=kept.plan.code,
        title=kept.plan.title,
        added=kept.added,
        question=kept.plan.question,
        quantities=list(kept.plan.quantities),
        sha256=kept.plan.sha256,
        plan=kept.text,
    )

"""The parts that every report on paper has, in their order, where there is something to show."""

from __future__ import annotations

from panelcp.report.paper.closing_pages import (
    cautions_blocks,
    checklist_blocks,
    drawing_list_blocks,
    not_modelled_blocks,
    revision_blocks,
    sign_off_blocks,
    versions_blocks,
)
from panelcp.report.paper.cooling_pages import cooling_blocks, margins_blocks
from panelcp.report.paper.front_page import front_blocks
from panelcp.report.paper.input_pages import conditions_blocks, inputs_blocks
from panelcp.report.paper.map_pages import maps_blocks, pictures_blocks
from panelcp.report.paper.number_pages import numbers_blocks
from panelcp.report.paper.place_pages import (
    cards_blocks,
    exit_air_blocks,
    ranking_blocks,
    sensitivity_blocks,
)
from panelcp.report.paper.plan_pages import plan_blocks
from panelcp.report.paper.registry import PaperPage, register

PAGES = (
    PaperPage("answer", "", front_blocks, begins_page=True),
    PaperPage("revision", "What changed", revision_blocks),
    PaperPage("inputs", "Inputs as understood", inputs_blocks),
    PaperPage("numbers", "Uncertain numbers used", numbers_blocks),
    PaperPage("conditions", "Conditions", conditions_blocks, lying=True, begins_page=True),
    PaperPage("maps", "", maps_blocks),
    PaperPage("pictures", "", pictures_blocks),
    PaperPage("ranking", "Ranking of places", ranking_blocks),
    PaperPage("cards", "The best places one by one", cards_blocks),
    PaperPage("exit-air", "Where the exit air goes", exit_air_blocks),
    PaperPage("cooling", "Enough air through every core", cooling_blocks),
    PaperPage("margins", "Places by margin", margins_blocks),
    PaperPage("sensitivity", "What the bands are made of", sensitivity_blocks),
    PaperPage("cautions", "Cautions", cautions_blocks),
    PaperPage("model", "Not modelled", not_modelled_blocks),
    PaperPage("drawings", "Drawing list", drawing_list_blocks, lying=True, begins_page=True),
    PaperPage("test-plan", "Test plan, to be filled in", plan_blocks, lying=True),
    PaperPage("checklist", "Not computed: to be looked at", checklist_blocks, begins_page=True),
    PaperPage("versions", "Versions and hashes", versions_blocks),
    PaperPage("sign-off", "Sign-off", sign_off_blocks),
)
"""Later parts register their own."""

for _page in PAGES:
    register(_page)

"""Pictures of the cooling network: who feeds whom, margins by condition, where the pressure goes.

Their style, to stand on the page behind its own, and the names that other sections use.
"""

from __future__ import annotations

from panelcp.display import kelvin as kelvin_text
from panelcp.report.cooling_bars import BAR_WIDTH, budget_parts, budget_picture, margin_picture
from panelcp.report.cooling_texts import band_text, flow_text, margin_text, signed
from panelcp.report.network_layout import network_layout
from panelcp.report.network_picture import network_picture

__all__ = [
    "BAR_WIDTH",
    "DIAGRAM_STYLE",
    "band_text",
    "budget_parts",
    "budget_picture",
    "flow_text",
    "kelvin_text",
    "margin_picture",
    "margin_text",
    "network_layout",
    "network_picture",
    "signed",
]

DIAGRAM_STYLE = """
.cooling { --air:#1f6f7d; --suction:#2f8f8b; --pressure:#c27d15; --spent:#cfd8dc }
@media (prefers-color-scheme: dark) {
  .cooling { --air:#7cc4d1; --suction:#4fb3ad; --pressure:#d99a3c; --spent:#46525a } }
.picture { overflow-x:auto; margin:.6rem 0 } .picture > svg { display:block; height:auto }
.picture text { fill:var(--ink); font-size:12px } .picture .small { font-size:11px }
.picture svg svg text { text-anchor:middle }
.picture .soft-text { fill:var(--soft); font-size:11px } .picture .strong { font-weight:600 }
.picture .bad-text { fill:var(--bad); font-weight:600 }
.picture .look-text { fill:var(--warn); font-weight:600 }
.picture .good-text { fill:var(--good); font-weight:600 }
.picture .element { fill:var(--paper); stroke:var(--soft); stroke-width:1 }
.picture .place { fill:var(--pale); stroke:var(--line); stroke-width:1 }
.picture .stop-box { stroke:var(--bad); stroke-width:2.5 }
.picture .look-box { stroke:var(--warn); stroke-width:2.5 }
.picture .good-box { stroke:var(--good); stroke-width:2.5 }
.picture .wire { fill:none; stroke:var(--air) } .picture .head { fill:var(--air) }
.picture .back { stroke:var(--bad); stroke-dasharray:7 4 } .picture .back-head { fill:var(--bad) }
.picture .still { stroke:var(--soft); stroke-dasharray:1 4 }
.picture .suction { fill:var(--suction) } .picture .pressure { fill:var(--pressure) }
.picture .axis { stroke:var(--ink); stroke-width:1 }
.picture .limit { stroke:var(--soft); stroke-width:1; stroke-dasharray:3 3 }
.picture .good { fill:var(--good) } .picture .look { fill:var(--warn) }
.picture .stop { fill:var(--bad) } .picture .watched { opacity:.5 }
.picture .band { stroke:var(--ink); stroke-width:1.4; fill:none }
.picture .spent { fill:var(--spent); stroke:var(--paper) }
.picture .core-part { fill:var(--pressure); stroke:var(--paper) }
.picture .gain { fill:var(--air); stroke:var(--paper) }
.picture .on-fill { fill:var(--paper); font-size:11px; font-weight:600 }
@media print { .picture { overflow:visible } }
"""

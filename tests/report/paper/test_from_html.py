"""Sections of the page as blocks of paper."""

from panelcp.report.markup import html_list, html_row, html_table
from panelcp.report.paper.blocks import BAD, Bullets, Caution, Heading, Paragraph
from panelcp.report.paper.from_html import blocks_of_html, tables_of_html
from panelcp.report.paper.grids import Table
from panelcp.report.sections import caution_line


def test_paragraphs_lists_headings_and_cautions_keep_their_order():
    html = "<h3>Title</h3><p>Plain &lt;b&gt; text</p><p class='soft'>Remark.</p>"
    html += html_list(["one & two", "three"]) + caution_line("Take care.")
    html += "<svg><text>not shown</text></svg><details><summary>More</summary><p>x</p></details>"
    found = blocks_of_html(html)
    kinds = [Heading, Paragraph, Paragraph, Bullets, Caution, Heading, Paragraph]
    assert [type(block) for block in found] == kinds
    assert (found[0].text, found[0].rank) == ("Title", 2)
    assert found[1].text == "Plain <b> text"
    assert found[2].size < found[1].size
    assert found[3].texts == ("one & two", "three")
    assert found[4].text == "Take care."
    assert found[5].rank == 3


def test_a_caution_behind_a_remark_stands_alone():
    remark, caution = blocks_of_html("<p class='soft'>A remark. <b>Caution:</b> No sparks.</p>")
    assert remark.text == "A remark."
    assert (caution.text, caution.word) == ("No sparks.", "Caution")


def test_tables_keep_sides_spans_and_what_is_bad():
    head = html_row([("Name", "t"), ("Value", ""), ("Why", "w")], "th")
    rows = [html_row([("a", "p"), ("1 ± 2", "bad"), ("text", "w")])]
    rows.append('<tr><td></td><td class="w bad" colspan="2">Stop</td></tr>')
    (table,) = tables_of_html(html_table(head, rows))
    assert isinstance(table, Table)
    assert [cell.text for cell in table.titles] == ["Name", "Value", "Why"]
    assert all(cell.bold for cell in table.titles)
    assert [cell.right for cell in table.rows[0]] == [False, True, False]
    assert table.rows[0][1].text == "1\u00a0±\u00a02"
    assert (table.rows[0][1].bold, table.rows[0][1].colour) == (True, BAD)
    assert [cell.span for cell in table.rows[1]] == [1, 2]


def test_a_table_without_rows_is_left_out():
    assert blocks_of_html(html_table(html_row([("Name", "t")], "th"), [])) == []

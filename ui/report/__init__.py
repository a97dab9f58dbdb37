"""The report to sign: a case (`case`, `photos`) as blocks (`blocks`), written as PDF or HTML.

`report` is the entry point; `gauge_page` is the comparison with a trusted gauge. May import
`ui.presenters` and `ui.charts`.
"""

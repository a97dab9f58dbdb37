"""What the report says, page by page, as blocks; `content` puts the pages in order.

Knows neither PDF nor HTML.
"""

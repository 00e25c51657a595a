"""The titles of a chart and of its axes, in either format."""

from collections.abc import Mapping

from lxml import etree


def retitled(chart: etree._Element, titles: Mapping[str, str]) -> bool:
    """Give the titles that read like one of these their new wording; whether there was one.

    chart: the root of a chart's part; a title in letters of several looks is the person's own and stays.
    """
    found = False
    for title in chart.iterfind(".//{*}title"):
        for text in title.iter("{*}t", "{*}p", "{*}span"):
            wanted = titles.get(text.text or "", text.text)
            if wanted != text.text and not len(text):
                text.text, found = wanted, True
    return found

"""The page on graces names every grace of the vocabulary."""

from pathlib import Path

from gracewright.graces import vocabulary

PAGE = Path(__file__).parents[2] / "docs" / "graces.md"


def test_the_page_lists_the_vocabulary():
    text = PAGE.read_text(encoding="utf-8")

    assert [word for word in vocabulary() if f"| `{word}` |" not in text] == []

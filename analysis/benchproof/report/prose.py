"""The reviewer's words: Markdown in, sanitised HTML out, figures quoted from the results."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import nh3
from markdown_it import MarkdownIt
from markupsafe import Markup

from benchproof.campaign.quoting import Quote, parse
from benchproof.errors import Fault, InputError
from benchproof.report.printing import print_figure
from benchproof.report.words import visible

if TYPE_CHECKING:
    from markdown_it.token import Token

    from benchproof.report.records import Figure

Compare = Callable[[Quote], str]
"""Answers a quote that looks at another campaign or at the label."""

UNCOMPARED: Final = "(compared once all campaigns are built)"
"""Stands for a quote that looks elsewhere, where nobody answers such quotes."""

_TAGS: Final = {"a", "blockquote", "br", "code", "em", "h3", "h4", "h5", "h6", "hr", "li", "ol", "p", "pre", "s"} | {
    "strong", "table", "tbody", "td", "th", "thead", "tr", "ul"
}  # fmt: skip
_ATTRIBUTES: Final = {"a": {"href", "title"}, "ol": {"start"}}
_LINKS: Final = ("https://", "http://", "mailto:", "#")
_HEADINGS: Final = {"h1": "h3", "h2": "h4", "h3": "h5", "h4": "h6", "h5": "h6", "h6": "h6"}

# Two characters that Unicode keeps for private use stand round the number of a quote while Markdown is at work.
_OPEN, _CLOSE = "\ue0f0", "\ue0f1"
_PLACEHOLDER: Final = re.compile(f"{_OPEN}(\\d+){_CLOSE}")


@dataclass(frozen=True, slots=True)
class Prose:
    """The reviewer's words as a page has them.

    Parameters
    ----------
    verdict : Markup
        The first paragraph, without its paragraph tags.
    rest : Markup
        Everything after it.
    plain : str
        The first paragraph as plain text, for descriptions.
    """

    verdict: Markup = field(default_factory=Markup)
    rest: Markup = field(default_factory=Markup)
    plain: str = ""


def prose(text: str | None, figures: Sequence[Figure], *, campaign: str, compare: Compare | None = None) -> Prose:
    """Return the reviewer's words with every quote answered.

    Parameters
    ----------
    text : str or None
        Markdown with ``{{ quote(…) }}``; no HTML, no pictures.
    figures : sequence of Figure
        The figures that may be quoted.
    campaign : str
        For the message of an error.
    compare : callable, optional
        Answers quotes with ``than``.

    Raises
    ------
    InputError
        If a quote has no figure; every such quote is named.
    """
    if not text:
        return Prose()
    source, quotes = _with_placeholders(text)
    answers = _answers(quotes, figures, campaign, compare)
    markdown = MarkdownIt("commonmark", {"html": False}).enable(["table", "strikethrough"])
    tokens = markdown.parse(source)
    for token in tokens:
        _tame(token, answers)
    first, rest = _split(tokens)

    def rendered(part: Sequence[Token]) -> Markup:
        return _filled(_sanitised(markdown.renderer.render(part, markdown.options, {})), answers)

    verdict = rendered(first)
    return Prose(verdict, rendered(rest), " ".join(verdict.striptags().split()))


def find(quote: Quote, figures: Sequence[Figure]) -> Figure | None:
    """Return the figure a quote names, None if there is none."""
    wanted = dict(quote.at)
    if quote.part not in (None, "motor"):
        wanted["part"] = str(quote.part)
    for figure in figures:
        whose = (figure.campaign, figure.name, figure.sample)
        if whose == (quote.of, quote.name, quote.sample) and dict(figure.at) == wanted:
            return figure
    return None


def spoken(quote: Quote) -> str:
    """Return a quote as it is written in a campaign file."""
    keys: dict[str, str | None] = {"of": quote.of, "sample": quote.sample, "part": quote.part, **quote.at}
    keys["than"] = quote.than
    given = [f'{key}="{value}"' for key, value in keys.items() if value is not None]
    return "quote(" + ", ".join([f'"{quote.name}"', *given]) + ")"


def _with_placeholders(text: str) -> tuple[str, list[Quote]]:
    """Return the Markdown with a placeholder for each quote, and the quotes in order."""
    pieces: list[str] = []
    quotes: list[Quote] = []
    for piece in parse(text):
        if isinstance(piece, str):
            pieces.append(visible(piece).replace(_OPEN, "").replace(_CLOSE, ""))
        else:
            pieces.append(f"{_OPEN}{len(quotes)}{_CLOSE}")
            quotes.append(piece)
    return "".join(pieces), quotes


def _answers(quotes: Sequence[Quote], figures: Sequence[Figure], campaign: str, compare: Compare | None) -> list[str]:
    """Return the words of each quote."""
    faults: list[Fault] = []
    answers: list[str] = []
    for quote in quotes:
        figure = find(quote, figures)
        if quote.than is not None:
            answers.append(compare(quote) if compare else UNCOMPARED)
        elif figure is None:
            faults.append(_missing(quote, figures, campaign))
        else:
            answers.append(print_figure(figure).text)
    if faults:
        raise InputError(*faults)
    return answers


def _missing(quote: Quote, figures: Sequence[Figure], campaign: str) -> Fault:
    """Return the fault of a quote that has no figure, with the quotes that would have one."""
    same_name = [figure for figure in figures if (figure.name, figure.campaign) == (quote.name, quote.of)]
    close = [figure for figure in same_name if figure.sample == quote.sample] or same_name
    possible = [spoken(_quote_of(figure)) for figure in close] or sorted({figure.name for figure in figures})
    return Fault(
        file=f"runs/{campaign}/campaign.yaml",
        place="text",
        found=spoken(quote),
        expected="one of: " + ", ".join(possible) if possible else "a figure; this campaign has none",
        remedy="Quote a figure that the campaign gives, or add its operating point to runs/lab.yaml.",
    )


def _quote_of(figure: Figure) -> Quote:
    at: Mapping[str, str] = {key: value for key, value in figure.at.items() if key != "part"}
    part = figure.at.get("part")
    return Quote(name=figure.name, sample=figure.sample, part=part, of=figure.campaign, at=at)


def _tame(token: Token, answers: Sequence[str]) -> None:
    """Lower headings under the page's own, and turn pictures into their words."""
    token.tag = _HEADINGS.get(token.tag, token.tag) if token.type.startswith("heading") else token.tag
    for child in token.children or ():
        if child.type == "image":
            child.type, child.tag, child.content, child.children = "text", "", child.content, None
        # A figure inside an attribute is plain text; only text between tags gets an element.
        child.attrs = {key: _plain(value, answers) for key, value in child.attrs.items()}


def _plain(value: str | float, answers: Sequence[str]) -> str | int | float:
    if not isinstance(value, str):
        return value
    return _PLACEHOLDER.sub(lambda match: answers[int(match[1])], value)


def _split(tokens: Sequence[Token]) -> tuple[Sequence[Token], Sequence[Token]]:
    """Return the inside of the first paragraph, and everything else."""
    for start, token in enumerate(tokens):
        if token.type == "paragraph_open" and token.level == 0:
            end = next(place for place in range(start, len(tokens)) if tokens[place].type == "paragraph_close")
            return tokens[start + 1 : end], [*tokens[:start], *tokens[end + 1 :]]
    return [], tokens


def _sanitised(text: str) -> str:
    return nh3.clean(
        text,
        tags=_TAGS,
        attributes=_ATTRIBUTES,
        attribute_filter=_kept,
        link_rel="nofollow noopener",
        url_schemes={"http", "https", "mailto"},
    )


def _kept(tag: str, attribute: str, value: str) -> str | None:
    """Return an attribute's value, None if it goes: links lead out or to an anchor, never into the disk."""
    if (tag, attribute) == ("a", "href"):
        return value if value.lower().startswith(_LINKS) else None
    return value


def _filled(text: str, answers: Sequence[str]) -> Markup:
    """Return sanitised HTML with its placeholders replaced by figures."""

    def element(match: re.Match[str]) -> str:
        return f'<span class="figure">{html.escape(visible(answers[int(match[1])]))}</span>'

    return Markup(_PLACEHOLDER.sub(element, text))  # noqa: S704 - sanitised above; answers are escaped

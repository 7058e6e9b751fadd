"""Sheets of marshal posts and the map of them all as files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.jobs.input_files import named_files
from hillsight.jobs.named_ground import ground_words
from hillsight.jobs.outputs import check_folder
from hillsight.jobs.posts.sheets import map_layers, post_sheets
from hillsight.layers.atomic import check_place, made_folder
from hillsight.sheets.paper.saving import DRAWINGS

if TYPE_CHECKING:
    from pathlib import Path

    from hillsight.jobs.posts.request import PostsRequest
    from hillsight.jobs.posts.shown import ShownPosts
    from hillsight.layers.provenance import Provenance
    from hillsight.sheets.posts.sheet_data import PostSheets


def check_drawings(request: PostsRequest) -> None:
    """Refuse places that cannot be written to, before the work.

    Raises
    ------
    OutputError : the folder is a file, or the map's name has no known end
    """
    if request.sheets is not None:
        check_folder(request.sheets)
    if request.map_file is None:
        return
    if request.map_file.suffix.lower() not in DRAWINGS:
        raise OutputError(
            "the name of the map must end in .pdf, .svg or .png",
            where=str(request.map_file),
            remedy=f"Name it {request.map_file.stem}.pdf",
            parameters=("map_file",),
        )
    check_place(request.map_file, inputs=named_files(request))


def draw_posts(
    found: ShownPosts, request: PostsRequest, provenance: Provenance
) -> dict[str, tuple[Path, ...]]:
    """Draw what is asked for; files by the name of the parameter."""
    made_of = f"{ground_words(request)}. Drawn by hillsight."
    data = post_sheets(found, made_of, provenance.as_json(), with_posts=request.sheets is not None)
    written = {}
    if request.sheets is not None:
        written["sheets"] = write_post_sheets(data, made_folder(request.sheets))
    if request.map_file is not None:
        written["map_file"] = write_posts_map(data, found, request.map_file)
    return written


def write_post_sheets(data: PostSheets, folder: Path) -> tuple[Path, ...]:
    """One file for each post, and one PDF of them all."""
    from hillsight.sheets.paper.saving import About, Printing, save_pages
    from hillsight.sheets.posts.post_sheet import post_pages

    printing = Printing(white_paper=True)
    written, drawn = [], []
    for one in data.posts:
        pages = post_pages(data, one)
        about = About(f"{data.title}: {one.name}", data.provenance)
        written.append(save_pages(pages, folder / f"post-{one.number}.pdf", printing=printing, about=about))
        drawn += pages
    about = About(data.title, data.provenance)
    return (*written, save_pages(drawn, folder / "all-posts.pdf", printing=printing, about=about))


def write_posts_map(data: PostSheets, found: ShownPosts, path: Path) -> tuple[Path, ...]:
    """The map of all posts: one PDF, or a file for each sheet."""
    from hillsight.sheets.paper.saving import About, Printing, save_page, save_pages
    from hillsight.sheets.posts.summary_map import summary_pages

    printing, about = Printing(dots_per_inch=300, white_paper=True), About(data.title, data.provenance)
    pages = summary_pages(data, map_layers(found))
    if path.suffix.lower() == ".pdf":
        return (save_pages(pages, path, printing=printing, about=about),)
    written = []
    for count, page in enumerate(pages, 1):
        name = path if count == 1 else path.with_name(f"{path.stem}_{count}{path.suffix}")
        written.append(save_page(page, name, printing=printing, about=about))
    return tuple(written)

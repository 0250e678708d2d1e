"""Alike means every pixel and every word."""

from dealership.documents.likeness import differences
from dealership.documents.pdf import lay_out


def page(words, style=""):
    return lay_out(f'<p style="{style}">{words}</p>').pdf


def test_a_page_is_like_itself():
    assert differences(page("Ostby"), page("Ostby"), [(0, 0)]) == []


def test_another_word_differs_and_is_told():
    [found] = differences(page("Ostby"), page("Astby"), [(0, 0)])
    assert found.pixels > 0
    assert found.words == ("Astby", "Ostby")


def test_a_shift_by_half_a_point_differs_in_pixels_alone():
    [found] = differences(page("Ostby"), page("Ostby", "margin-left: 0.5pt"), [(0, 0)])
    assert found.pixels > 0
    assert found.words == ()


def test_another_size_of_paper_differs_wholly():
    a4 = lay_out("<p>Ostby</p>", page="a4").pdf
    [found] = differences(page("Ostby"), a4, [(0, 0)])
    assert found.pixels > 100_000

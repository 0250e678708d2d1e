import pytest

from dealership.views.files import CSV, file_answer


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("job-card-R10044.pdf", 'inline; filename="job-card-R10044.pdf"'),
        # What people type is quoted: RFC 6266, section 4, and RFC 9110, 5.6.4.
        ('job-card-A"4.pdf', 'inline; filename="job-card-A\\"4.pdf"'),
        ("Größe.pdf", "inline; filename*=utf-8''Gr%C3%B6%C3%9Fe.pdf"),
    ],
)
def test_a_file_to_look_at_has_its_name(name, said):
    answer = file_answer(b"%PDF", name, shown=True)

    assert answer.headers["Content-Disposition"] == said
    assert answer.headers["Content-Type"] == "application/pdf"


def test_a_file_to_save_is_not_guessed_at():
    answer = file_answer(b"a,b\n", "rows.csv", kind=CSV)

    assert answer.headers["Content-Disposition"] == 'attachment; filename="rows.csv"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert answer.content == b"a,b\n"

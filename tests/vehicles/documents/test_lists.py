"""A kept list is opened wherever the storage has put it."""

from django.core.files.base import ContentFile

from vehicles.documents.lists import opened_list


CONTENT = b"VIN;Owner\n1U0KTRA4XN1000001;Ashdown\n"


class Far(ContentFile):
    """A file of a storage without local paths."""

    @property
    def path(self):
        raise NotImplementedError


class Near:
    """A file in a local folder."""

    def __init__(self, path):
        self.path = str(path)


def cells(file, **how):
    with opened_list(file, "list.csv", **how) as table:
        return list(table.columns), [list(row.cells) for row in table.rows()]


def test_a_local_file_and_a_far_one_read_alike(tmp_path):
    path = tmp_path / "list.csv"
    path.write_bytes(CONTENT)

    near = cells(Near(path))

    assert near == (["VIN", "Owner"], [["1U0KTRA4XN1000001", "Ashdown"]])
    assert cells(Far(CONTENT)) == near


def test_the_row_of_headers_is_chosen():
    far = Far(b"Our vehicles\n" + CONTENT)

    assert cells(far, header_row=2)[0] == ["VIN", "Owner"]

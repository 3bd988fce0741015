import numpy as np

from underlid.journal.memory import FOLDER, recall, remember

DRAWS = {"loss": np.array([1.0, 1.5]), "base": np.array([2.0, 3.0])}


def test_what_was_remembered_is_recalled_bit_for_bit(tmp_path):
    remember(tmp_path, "abc", DRAWS, {"seed": 3, "notes": ["one", "“two”"]})
    kept = recall(tmp_path, "abc")
    assert kept is not None
    arrays, values = kept
    assert values == {"seed": 3, "notes": ["one", "“two”"]}
    for name, array in DRAWS.items():
        assert arrays[name].tobytes() == array.tobytes()


def test_a_missing_or_damaged_result_only_means_computing_again(tmp_path):
    assert recall(tmp_path, "abc") is None
    remember(tmp_path, "abc", DRAWS, {})
    path = tmp_path / FOLDER / "abc.npz"
    path.write_bytes(path.read_bytes()[:60])
    assert recall(tmp_path, "abc") is None
    path.write_bytes(b"")
    assert recall(tmp_path, "abc") is None


def test_a_folder_that_cannot_be_written_keeps_nothing_and_harms_nothing(tmp_path):
    (tmp_path / FOLDER).write_text("in the way")
    remember(tmp_path, "abc", DRAWS, {})
    assert recall(tmp_path, "abc") is None

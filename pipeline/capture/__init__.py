"""Sound in: any recording becomes 16 kHz mono samples that the recogniser can hear, and live sound a recording.

In goes a file of any common container, codec, sample rate and number of channels, or live sound from a `Source`;
out comes a `Recording`, with warnings where the sound was damaged or is wanting. Live sound is kept by a
`Recorder`, safe on the disk as it arrives. This stage never changes a sound, never touches the network and knows
nothing of words.
"""

from pipeline.capture.files import MAX_DURATION_S, read_audio
from pipeline.capture.folder import (
    FolderContent,
    Gap,
    is_ended,
    is_recording,
    pack,
    read_folder,
    write_flac,
)
from pipeline.capture.following import Follower
from pipeline.capture.microphone import Microphone
from pipeline.capture.model import SAMPLE_RATE_HZ, CaptureError, Recording
from pipeline.capture.recorder import Recorder, RecordingStoppedError, hold
from pipeline.capture.resample import Resampler
from pipeline.capture.sources import Block, Interruption, SoundFile, Source

__all__ = [
    "MAX_DURATION_S",
    "SAMPLE_RATE_HZ",
    "Block",
    "CaptureError",
    "FolderContent",
    "Follower",
    "Gap",
    "Interruption",
    "Microphone",
    "Recorder",
    "Recording",
    "RecordingStoppedError",
    "Resampler",
    "SoundFile",
    "Source",
    "hold",
    "is_ended",
    "is_recording",
    "pack",
    "read_audio",
    "read_folder",
    "write_flac",
]

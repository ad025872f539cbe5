"""Sound in: any recording becomes 16 kHz mono samples that the recogniser can hear.

In goes a file of any common container, codec, sample rate and number of channels; out comes a `Recording`,
with warnings where the file was damaged but still usable. This stage never changes a file, never touches the
network and knows nothing of words.
"""

from pipeline.capture.files import MAX_DURATION_S, read_audio
from pipeline.capture.model import SAMPLE_RATE_HZ, CaptureError, Recording

__all__ = ["MAX_DURATION_S", "SAMPLE_RATE_HZ", "CaptureError", "Recording", "read_audio"]

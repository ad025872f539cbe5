"""Settings: an option wins over its variable, which wins over the default; a wrong value is named."""

from __future__ import annotations

import pytest

from pipeline.settings import Settings, SettingsError, load_settings


def test_an_option_wins_over_its_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROSTRAL_MODEL", "tiny.en")
    assert load_settings().model == "tiny.en"
    assert load_settings(model=None).model == "tiny.en"
    assert load_settings(model="base").model == "base"


def test_an_empty_variable_counts_as_not_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROSTRAL_THREADS", "")
    assert load_settings().threads == 0


@pytest.mark.parametrize(
    ("variable", "value"),
    [
        ("ROSTRAL_DEVICE", "abacus"),
        ("ROSTRAL_THREADS", "-1"),
        ("ROSTRAL_LANGUAGE", "English"),
        ("ROSTRAL_ALLOW_DOWNLOAD", "x"),
        ("ROSTRAL_ZONE", "Alder Lane"),
        ("ROSTRAL_ZONE", "Europe"),  # a folder of the zones' files, no zone
        ("ROSTRAL_ZONE", "../etc/localtime"),
    ],
)
def test_a_wrong_variable_is_named_with_its_value(
    monkeypatch: pytest.MonkeyPatch, variable: str, value: str
) -> None:
    monkeypatch.setenv(variable, value)
    with pytest.raises(SettingsError, match=f"variable {variable} cannot be '{value}'"):
        load_settings()


def test_a_wrong_option_is_named_as_option() -> None:
    with pytest.raises(SettingsError, match="option --device cannot be 'abacus'"):
        load_settings(device="abacus")


def test_every_setting_is_explained() -> None:
    assert all(field.description for field in Settings.model_fields.values())

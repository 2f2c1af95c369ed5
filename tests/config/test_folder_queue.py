from __future__ import annotations

import threading
from pathlib import Path
from queue import Empty

import pytest
from kombu import Connection

from config.folder_queue import Channel, Transport


@pytest.fixture
def channel(tmp_path: Path):
    folder = str(tmp_path)
    options = {"data_folder_in": folder, "data_folder_out": folder, "control_folder": f"{folder}/control"}
    with Connection("filesystem://localhost", transport=Transport, transport_options=options) as connection:
        yield connection.channel()


def test_messages_come_out_in_the_order_in_which_they_went_in(channel: Channel):
    for number in range(20):
        channel._put("jobs", {"number": number})
    assert channel._size("jobs") == 20
    assert [channel._get("jobs")["number"] for _ in range(20)] == list(range(20))
    with pytest.raises(Empty):
        channel._get("jobs")


def test_queues_in_one_folder_do_not_mix(channel: Channel):
    channel._put("jobs", {"number": 1})
    with pytest.raises(Empty):
        channel._get("other")
    with pytest.raises(Empty):
        channel._get("obs")
    assert channel._get("jobs") == {"number": 1}


def test_a_message_that_is_not_whole_ends_nobody(channel: Channel, tmp_path: Path, caplog):
    (tmp_path / "0-half.jobs.msg").write_text('{"number": ', encoding="utf-8")
    (tmp_path / "half.writing").write_text('{"num', encoding="utf-8")
    channel._put("jobs", {"number": 2})
    assert channel._get("jobs") == {"number": 2}
    assert "cannot be read and is dropped" in caplog.text


def test_two_takers_never_get_the_same_message(channel: Channel):
    for number in range(200):
        channel._put("jobs", {"number": number})
    taken: list[int] = []

    def take() -> None:
        while True:
            try:
                taken.append(channel._get("jobs")["number"])
            except Empty:
                return

    threads = [threading.Thread(target=take) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken) == list(range(200))


def test_what_is_cleared_is_gone(channel: Channel, tmp_path: Path):
    for number in range(3):
        channel._put("jobs", {"number": number})
    assert channel._purge("jobs") == 3
    assert not list(tmp_path.glob("*.msg"))


def test_the_service_uses_it_where_no_broker_is_named(settings):
    if not settings.CELERY_BROKER_URL.startswith("filesystem"):
        pytest.skip("this run has a broker of its own")
    assert settings.CELERY_BROKER_TRANSPORT == "config.folder_queue:Transport"
    assert settings.CELERY_BROKER_TRANSPORT_OPTIONS["polling_interval"] == 0.05

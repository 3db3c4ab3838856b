"""After a withdrawal no byte of the person is left in the store: every file is searched for what should be gone."""

import numpy as np
import pytest
from sqlalchemy import text

from swingmatch.library.records import Footage, NewMedia
from swingmatch.library.search.features import swing_features
from swingmatch.library.store import open_store
from swingmatch.library.store.tables import Base
from swingmatch.players import decisions, players, reviews

CODE = "CODE-Qx7-OF-THE-PERSON"
WORDS = [
    CODE,
    "NAME-Zw4-Of-Somebody",
    "LABEL-Kd9",
    "GUARDIAN-Pf2",
    "TAG-Mm3",
    "NOTE-Ty6",
    "STYLE-Uh5",
    "WORD-Ne8",
]


def fill(store, samples):
    """Many models, that of one person among them; returns every mark of that person as bytes."""
    for number in range(6):
        store.add(
            samples.model(f"S{number}"),
            samples.consent(f"S{number}"),
            [samples.clip(f"s{number}")],
            on=samples.DAY,
        )
    paper = "0123456789abcdef" * 4
    consent = samples.consent(CODE, name=WORDS[1], guardian=WORDS[3], minor=True, paper_sha256=paper)
    model = samples.model(
        CODE,
        id="id-of-the-model-Vb1",
        label=WORDS[2],
        tags=frozenset({WORDS[4]}),
        notes=(WORDS[5],),
        style={WORDS[6]: 1.0},
        style_words=(WORDS[7],),
    )
    pieces = [
        NewMedia(kind=k, name=f"{k}-Fi0", source=f"<{k}-Og6>".encode() * 3000)
        for k in ("clip", "frames", "thumbnail")
    ]
    track = np.random.default_rng(5).normal(size=5000)
    pieces.append(NewMedia(kind="track", name="track-Fi0", source=track.tobytes()))
    listed = store.add(model, consent, pieces, on=samples.DAY)
    store.tag(model.id, ["TAG-Later-Lr2"])
    average = samples.model("S1", 1, contains=(CODE,), label="AVERAGE-Av3")
    store.add(average, on=samples.DAY)
    store.add_footage(
        Footage(player=CODE, filmed_on=samples.DAY, keep_until=samples.DAY, note="FOOTAGE-Jc4"),
        media=[NewMedia(kind="clip", name="footage-Fi0", source=b"<footage-Og6>" * 3000)],
        on=samples.DAY,
    )
    samples.keep_review(store, CODE, "Pl9")
    samples.keep_review(store, "S1", "other")
    for number in range(6, 10):
        store.add(samples.model(f"S{number}"), samples.consent(f"S{number}"), on=samples.DAY)
    marks = [
        word.encode()
        for word in (*WORDS, paper, model.id, average.id, "AVERAGE-Av3", "TAG-Later", "FOOTAGE-Jc4")
    ]
    marks += [mark.encode() for mark in samples.review_marks("Pl9")]
    marks += [b"-Og6>", b"-Fi0", track[100:104].tobytes()]
    for swing in (model.swings[0], average.swings[0]):
        marks += [swing.points[10].tobytes()[:64], swing_features(swing)[20:22].tobytes()]
    for media in (*listed.media, *(m for f in store.footage(samples.DAY) for m in f.media)):
        marks += [media.sha256.encode(), bytes.fromhex(media.sha256)]
    return marks


def files_with(folder, marks):
    """(mark, file) for every mark that is in a file under the folder, in its bytes or in its name."""
    found = []
    for path in sorted(folder.rglob("*")):
        held = path.name.encode() + (path.read_bytes() if path.is_file() else b"")
        found += [(mark[:40], str(path.relative_to(folder))) for mark in marks if mark in held]
    return found


def rows_with(store, marks):
    """The same for everything that the database gives out."""
    with store.engine.connect() as connection:
        dump = "\n".join(
            str(row)
            for t in Base.metadata.sorted_tables
            for row in connection.execute(text(f"SELECT * FROM {t.name}"))
        ).encode()
    return [mark for mark in marks if mark in dump]


@pytest.mark.parametrize("how", ["withdraw", "forget"])
def test_no_byte_is_left(store, place, samples, how):
    marks = fill(store, samples)
    before = files_with(store.home, marks)
    # The search itself has to be able to find: everything is somewhere, in a file or in the database.
    there = {mark for mark, _ in before} | {m[:40] for m in rows_with(store, marks)}
    raw = {m[:40] for m in marks if len(m) == 32}  # hashes as raw bytes are written nowhere
    assert {m[:40] for m in marks} - raw <= there
    getattr(store, how)(CODE)
    assert files_with(store.home, marks) == []
    assert rows_with(store, marks) == []
    assert len(store.models(samples.DAY)) == 10
    assert [player.code for player in players(store)] == ["S1"]
    assert len(reviews(store, "S1")) == len(decisions(store)) == 1
    assert len(store.withdrawals()) == (how == "withdraw")
    assert store.check() == []
    store.close()
    assert files_with(place[0], marks) == []


def test_a_reader_that_holds_up_the_clearing_only_delays_it(tmp_path, samples):
    with open_store(tmp_path) as store:
        marks = fill(store, samples)
        with store.engine.connect() as reader:
            reader.execute(text("SELECT * FROM models")).fetchone()
            store.withdraw(CODE)
            assert store.models(samples.DAY)
            assert not store.journal.empty
        store.settle()
        assert store.journal.empty
        assert files_with(tmp_path, marks) == []


def test_what_postgresql_keeps(server, samples, tmp_path):
    """Tables and indexes on the server's disk are clear; its write-ahead log may still hold what was written."""
    import psycopg

    address, data = server
    with psycopg.connect(f"{address}/postgres", autocommit=True) as connection:
        connection.execute("CREATE DATABASE bytes")
        (oid,) = connection.execute("SELECT oid FROM pg_database WHERE datname = 'bytes'").fetchone()
    with open_store(tmp_path, f"{address}/bytes") as store:
        words = [word.encode() for word in WORDS]
        fill(store, samples)
        with psycopg.connect(f"{address}/bytes", autocommit=True) as connection:
            connection.execute("CHECKPOINT")
            tables = data / "base" / str(oid)
            assert {mark for mark, _ in files_with(tables, words)} == set(words)
            store.withdraw(CODE)
            connection.execute("CHECKPOINT")
        assert files_with(tables, words) == []
        left = files_with(data / "pg_wal", words)
        print(f"in the write-ahead log: {len({mark for mark, _ in left})} of {len(words)} marks")

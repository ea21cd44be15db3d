"""The stream of a venue and the bucket beside it: made where they are not there yet."""

from __future__ import annotations

from nats.js.api import StorageType, StreamConfig
from nats.js.errors import NotFoundError
from nats.js.object_store import ObjectStore

from roomlink.journal.natslink import NatsLink

ANSWER_S, MADE_S = 2.0, 30.0


def made(link: NatsLink, stream: str, subject: str, replicas: int, notices: list[str]) -> ObjectStore:
    """The bucket of ``stream``. That servers keep fewer copies than asked for is told in ``notices``, not changed."""
    js = link.js
    config = StreamConfig(
        name=stream,
        subjects=[subject],
        storage=StorageType.FILE,
        num_replicas=replicas,
        deny_delete=True,
        deny_purge=True,
        allow_direct=False,  # a follower's copy may lag; the tail must be the leader's
    )
    try:
        kept = link.call(js.stream_info(stream), ANSWER_S).config.num_replicas or 1
    except NotFoundError:
        kept = link.call(js.add_stream(config), MADE_S).config.num_replicas or 1
    if kept < replicas:
        notices.append(
            f"The stream {stream} is kept by {kept} of the NATS servers, though --replicas {replicas} asks for more: it"
            " was made so, and is changed by NATS's own tools alone."
        )
    bucket = f"{stream}-objects"
    try:
        return link.call(js.object_store(bucket), ANSWER_S)
    except NotFoundError:
        return link.call(js.create_object_store(bucket, storage=StorageType.FILE, replicas=replicas), MADE_S)

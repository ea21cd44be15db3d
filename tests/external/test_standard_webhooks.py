"""Standard Webhooks: the example of its specification, and the tolerance that it asks for."""

from __future__ import annotations

from roomlink.diary.webhooks import key_of_secret, signature, verified

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
ID = "msg_p5jXN8AQM9LWM0D4loKWxJek"
STAMP = 1614265330
BODY = b'{"test": 2432232314}'
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_the_published_example_is_signed_as_published() -> None:
    """The signed text is id, timestamp and body with dots between."""
    assert signature(key_of_secret(SECRET), ID, STAMP, BODY) == SIGNATURE


def test_a_message_is_good_for_five_minutes_either_way() -> None:
    """A receiver takes timestamps up to 300 seconds off, and no more."""
    key = key_of_secret(SECRET)
    for off, good in ((0, True), (300, True), (-300, True), (301, False), (-301, False)):
        assert verified(key, ID, str(STAMP), SIGNATURE, BODY, STAMP + off) is good

"""The pure core: no input or output, no clock, no asyncio, no randomness.

    command ─▶ decide(state, command, now) ─▶ events ─▶ (journal) ─▶ apply(state, event)

``decide`` reads the state and never changes it; ``apply`` reads no policy and never refuses.
``next_deadline`` says when the core wants a ``Wake`` command; nothing else makes time pass.
"""

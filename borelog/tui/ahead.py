"""Keys in the order they were typed, each wholly handled before the next.

The library hands a key to the widget in focus, which hands it upwards; a key that opens a question or moves the focus
takes effect a few milliseconds later. Keys typed meanwhile, by a quick hand or over a slow line, would land on the screen
before: 'n', then a name, would act on the list. So keys wait here until the one before has run through.
"""

from __future__ import annotations

import asyncio
from collections import deque

from textual import events
from textual.app import App
from textual.message_pump import MessagePump

PATIENCE = 0.25
"""Seconds after which a key no longer waits for the one before; nothing here may hang."""


class TypedAhead(App[None], inherit_bindings=False):
    """An application whose keys queue up."""

    def __init__(self) -> None:
        super().__init__()
        self._typed: deque[events.Key] = deque()
        self._pump_task: asyncio.Task[None] | None = None

    @property
    def keys_waiting(self) -> bool:
        """Whether a key is still being handled."""
        return bool(self._typed) or (self._pump_task is not None and not self._pump_task.done())

    async def on_event(self, event: events.Event) -> None:
        """Queue a key that just came in; everything else goes its way."""
        if isinstance(event, events.Key) and not event.is_forwarded:
            self._typed.append(event)
            if self._pump_task is None or self._pump_task.done():
                self._pump_task = asyncio.create_task(self._pump_keys())
            return
        await super().on_event(event)

    async def _pump_keys(self) -> None:
        try:
            while self._typed and self.is_running:
                target: MessagePump = self.focused or self.screen
                await super().on_event(self._typed.popleft())
                await self._handled(target)
        except Exception as error:  # noqa: BLE001 - a fault in a task of our own must end the screens like any other
            self._handle_exception(error)

    async def _handled(self, target: MessagePump) -> None:
        """Wait until a key has gone up from its widget to the application, and what it set off has come to rest."""
        for _ in range(2):
            node: MessagePump | None = target
            while node is not None:
                await self._passed(node)
                node = node._parent
        end = asyncio.get_running_loop().time() + PATIENCE
        while asyncio.get_running_loop().time() < end:
            screen = self.screen
            await self._passed(screen)
            await self._passed(self)
            ready = screen.is_mounted and (self.focused is not None or not screen.focus_chain)
            if ready and screen is self.screen and not self.opening:
                return
            await asyncio.sleep(0.002)

    @property
    def opening(self) -> bool:
        """Whether an act is under way that will show another screen; keys wait for it a little."""
        return False

    @staticmethod
    async def _passed(node: MessagePump) -> None:
        """Wait until everything in a node's queue now has been handled."""
        if not node.is_running:
            return
        passed = asyncio.Event()
        node.call_later(passed.set)
        try:
            await asyncio.wait_for(passed.wait(), PATIENCE)
        except TimeoutError:
            return

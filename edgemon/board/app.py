"""The board: one source, one beat, one screen per question."""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from textual.app import App
from textual.screen import Screen

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.picture import Picture
from edgemon.board.port import Lost, Source
from edgemon.board.screens.alarms import AlarmsScreen
from edgemon.board.screens.ask import Ordering, Question, ask
from edgemon.board.screens.base import BoardScreen, bindings
from edgemon.board.screens.commission import CommissionScreen
from edgemon.board.screens.handover import HandoverScreen
from edgemon.board.screens.journal import JournalScreen
from edgemon.board.screens.lamps import LampsScreen
from edgemon.board.screens.machine import MachineScreen
from edgemon.board.screens.pages import HelpScreen, NotesScreen, SensorsScreen
from edgemon.board.screens.performance import PerformanceScreen
from edgemon.board.screens.plant import PlantScreen
from edgemon.board.screens.proof import prove
from edgemon.board.theme import ASCII, PALETTES, UNICODE, Look
from edgemon.clock import Clock
from edgemon.errors import EdgemonError
from edgemon.model.instant import Instant

BEAT = 0.5
"""Seconds between two adoptions of changes; two beats are one flash, 1 Hz with half of it lit."""
RETRY = 1.0
"""Seconds until a source that ended or failed is asked again."""

HUNG_UP = 1
"""Exit code where the terminal went away."""
CLOSES_WITHIN_S = 1.0
"""Seconds that a connection may take to be closed when the board is."""

SCREENS_BY_NAME: dict[str, Callable[[Desk], BoardScreen]] = {
    "alarms": AlarmsScreen,
    "notes": NotesScreen,
    "sensors": SensorsScreen,
    "shift": HandoverScreen,
    "performance": PerformanceScreen,
    "journal": JournalScreen,
    "commission": CommissionScreen,
    "lamps": LampsScreen,
    "help": HelpScreen,
}
"""Screens that any other can call up; a further one is a line here, its file, its footer and its help."""


class BoardApp(App[None]):
    """The operator's board.

    Parameters
    ----------
    source : Source
        The daemon.
    clock : Clock
        Drives the beat, the flash and the watch over a silent daemon.
    still : bool
        No flashing; what calls carries a `!`.
    ascii : bool
        Draw with ASCII only.
    theme : str
        `dark` or `light`; where NO_COLOR is set, or the terminal has only 16 colours, `mono` or `dark` is taken instead.
    is_seen : callable
        Says whether the terminal is still there: one that hung up without a signal is left, for nobody can see the board.
    """

    ENABLE_COMMAND_PALETTE = False
    TITLE = "edgemon"
    BINDINGS = bindings(keys.EVERYWHERE)

    def __init__(
        self,
        source: Source,
        clock: Clock,
        still: bool = False,
        ascii: bool = False,  # noqa: A002
        theme: str = "dark",
        is_seen: Callable[[], bool] = lambda: True,
    ) -> None:
        super().__init__()
        self._clock, self._is_seen = clock, is_seen
        self._sounded = False
        self._tested_until: Instant | None = None
        colours = self.console.color_system
        chosen = "mono" if self.no_color or colours is None else "dark" if colours == "standard" else theme
        look = Look(ASCII if ascii else UNICODE, still or self.animation_level == "none")
        self.desk = Desk(source, clock, PALETTES[chosen], look, Picture())

    def get_default_screen(self) -> Screen[None]:
        """Begin with the plant."""
        return PlantScreen(self.desk)

    def on_mount(self) -> None:
        """Begin to listen and to beat."""
        self.run_worker(self._listen(), name="listen", exit_on_error=True)
        self.run_worker(self._beat(), name="beat", exit_on_error=True)

    async def _listen(self) -> None:
        desk = self.desk
        while True:
            try:
                async for update in desk.source.updates():
                    was_lost = desk.picture.lost is not None
                    desk.picture.take(update, self._clock.elapsed())
                    if was_lost and desk.picture.lost is None:
                        desk.person = await desk.source.whoami()
                        self._adopt()
                why = "the daemon ended the connection"
            except EdgemonError as error:
                why = error.what
            desk.picture.take(Lost(why), self._clock.elapsed())
            await self._clock.sleep(RETRY)

    async def _beat(self) -> None:
        while True:
            await self._clock.sleep(BEAT)
            if not self._is_seen():
                self.exit(return_code=HUNG_UP)
                return
            self._adopt()

    def _adopt(self) -> None:
        self.desk.beat()
        gateway = self.desk.picture.gateway
        sounding = gateway is not None and gateway.sounding
        if sounding and not self._sounded:
            self.bell()
        self._sounded = sounding
        self._follow_test()
        self.redraw()

    def _follow_test(self) -> None:
        """Show a lamp test, whoever ordered it, at every board and once; what somebody is typing is not taken away."""
        gateway = self.desk.picture.gateway
        if gateway is None or gateway.test_until is None or self.desk.picture.lost is not None:
            return
        if gateway.test_until == self._tested_until or not isinstance(self.screen, BoardScreen):
            return
        self._tested_until = gateway.test_until
        left = gateway.test_until - gateway.now
        under_way = [screen for screen in self.screen_stack if isinstance(screen, LampsScreen)]
        for screen in under_way:
            screen.goes_on(left)
        if left > 0.0 and not under_way:
            self.push_screen(LampsScreen(self.desk, left))

    def redraw(self) -> None:
        """Draw the screen in front; it lives on behind a question."""
        front = next((screen for screen in reversed(self.screen_stack) if isinstance(screen, BoardScreen)), None)
        if front is not None:
            front.redraw()

    def action_show(self, name: str) -> None:
        """Call up a screen, or go back to it where it lies under the present one."""
        self._front(
            lambda screen: isinstance(screen, BoardScreen) and name == screen.NAME, lambda: SCREENS_BY_NAME[name](self.desk)
        )

    def action_silence(self) -> None:
        """Ask about silencing the horn."""
        meaning = "alarms stay and wait for their acknowledgement; a new one sounds again"
        self._order(Question("Silence the horn?", meaning), lambda _: self.desk.source.silence())

    def action_lamp_test(self) -> None:
        """Ask about testing horn and beacon."""
        question = Question(
            "Test horn, beacon and boards?", "tell the control room first: all is on for some seconds, at every board"
        )
        self._order(question, lambda _: self.desk.source.lamp_test(), lambda: self.action_show("lamps"))

    def action_prove(self) -> None:
        """Ask about beginning a proof of alarms, or ending the one that is on."""
        if isinstance(self.screen, BoardScreen):
            prove(self.screen)

    def _order(self, question: Question, order: Ordering, then: Callable[[], None] = lambda: None) -> None:
        if isinstance(self.screen, BoardScreen):
            ask(self.screen, question, order, then)

    def action_open_machine(self, machine: str) -> None:
        """Open a machine."""

        def is_it(screen: Screen[object]) -> bool:
            return isinstance(screen, MachineScreen)

        self._front(is_it, lambda: MachineScreen(self.desk, machine))
        if isinstance(self.screen, MachineScreen) and self.screen.machine != machine:
            self.screen.machine = machine
            self.screen.redraw()

    def _front(self, is_it: Callable[[Screen[object]], bool], make: Callable[[], BoardScreen]) -> None:
        """Bring a screen to the front; one of each kind at most is open, so the stack stays short."""
        if any(is_it(screen) for screen in self.screen_stack):
            while not is_it(self.screen):
                self.pop_screen()
        else:
            self.push_screen(make())

    def action_help_quit(self) -> None:
        """Answer ctrl+c, which many press to get out."""
        self.desk.say("The board is closed with q, and with ctrl+q out of a question too; the daemon goes on monitoring.")
        self.redraw()

    async def action_quit_board(self) -> None:
        """Close the board and say that the daemon goes on."""
        with suppress(EdgemonError, TimeoutError):  # a door that jams keeps nobody inside
            async with asyncio.timeout(CLOSES_WITHIN_S):
                await self.desk.source.close()
        self.exit(message="The board is closed; the daemon goes on monitoring.")

"""The tools of the map as a quiet row of buttons: looking, gathering, regions, profile.

Gathering and regions have three shapes each: the button takes the one used last, its menu the
others. Plain digits choose a tool while the map has the focus.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QEvent, QSize, Qt
from PySide6.QtGui import QAction, QKeySequence, QShortcut
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QMenu, QToolButton, QWidget

from .. import theme as look
from ..theme import SPACE, Theme
from .map_tools import MapTools


@dataclass(frozen=True)
class Choice:
    """One tool that can be chosen: its name in `TOOLS`, words, icon and key."""

    tool: str
    words: str
    icon: str
    key: str


CHOICES = (
    Choice("", "Look: move and zoom the map, pick a pixel", "look", "1"),
    Choice("select rectangle", "Gather pixels in a rectangle", "gather-rectangle", "2"),
    Choice("select polygon", "Gather pixels in an outline", "gather-outline", "3"),
    Choice("select brush", "Gather pixels with a brush", "gather-brush", "4"),
    Choice("region rectangle", "Draw a region: a rectangle", "region-rectangle", "5"),
    Choice("region polygon", "Draw a region: an outline", "region-outline", "6"),
    Choice("region brush", "Draw a region with a brush", "region-brush", "7"),
    Choice("profile", "Draw a line profile", "profile", "8"),
)
BY_TOOL = {choice.tool: choice for choice in CHOICES}
BUTTONS = ((0,), (1, 2, 3), (4, 5, 6), (7,))
"""Which choices share a button."""
HINTS = {
    "select": "Shift adds, Alt takes away; Esc leaves the tool.",
    "region": "Esc leaves the tool.",
    "profile": "Shift adds a corner to the profile that is held; Esc leaves the tool.",
}


STYLE = """
QToolButton[popupMode="1"] { padding-right: 15px; }
QToolButton::menu-button { border: none; width: 14px; }
"""


class MapToolbar(QWidget):
    """Buttons for the tools of one map view. They choose the tool, and follow when anybody else
    does."""

    def __init__(self, tools: MapTools, view: QWidget) -> None:
        super().__init__(view)
        self._tools = tools
        self.buttons: list[QToolButton] = []
        self.actions_of: dict[str, QAction] = {}
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        for shared in BUTTONS:
            button = self._button([CHOICES[i] for i in shared])
            self.buttons.append(button)
            row.addWidget(button)
        for choice in CHOICES:
            keys = QShortcut(QKeySequence(choice.key), view)
            keys.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            keys.activated.connect(lambda tool=choice.tool: self._tools.choose(tool))
        self.setStyleSheet(STYLE)
        tools.tool_changed.connect(self.show_tool)
        self.show_tool(tools.tool)

    def _button(self, choices: list[Choice]) -> QToolButton:
        button = QToolButton(self)
        button.setCheckable(True)
        button.setAutoRaise(True)
        button.setIconSize(QSize(18, 18))
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        for choice in choices:
            action = QAction(f"{choice.words}\t{choice.key}", self)
            action.setCheckable(True)
            action.setToolTip(tip_of(choice))
            action.triggered.connect(lambda _=False, tool=choice.tool: self._choose(tool))
            self.actions_of[choice.tool] = action
        if len(choices) > 1:
            menu = QMenu(button)
            menu.addActions([self.actions_of[choice.tool] for choice in choices])
            button.setMenu(menu)
            button.setPopupMode(QToolButton.ToolButtonPopupMode.MenuButtonPopup)
        self._offer(button, choices[0])
        button.clicked.connect(lambda _=False, b=button: self._choose(b.property("tool")))
        return button

    def _offer(self, button: QToolButton, choice: Choice) -> None:
        """What a press on the button chooses."""
        button.setProperty("tool", choice.tool)
        button.setIcon(self.actions_of[choice.tool].icon())
        button.setToolTip(tip_of(choice))
        button.setAccessibleName(choice.words)

    def _choose(self, tool: str) -> None:
        """The person took a tool; taking the one in use puts it down."""
        self._tools.choose("" if tool == self._tools.tool else tool)
        self.show_tool(self._tools.tool)

    def show_tool(self, tool: str) -> None:
        """Which tool is in use."""
        for name, action in self.actions_of.items():
            action.setChecked(name == tool)
        for button, shared in zip(self.buttons, BUTTONS, strict=True):
            own = [CHOICES[i] for i in shared]
            chosen = next((choice for choice in own if choice.tool == tool), None)
            if chosen is not None:
                self._offer(button, chosen)
            button.setChecked(chosen is not None)

    def set_theme(self, theme: Theme) -> None:
        for choice in CHOICES:
            self.actions_of[choice.tool].setIcon(look.icon(choice.icon, theme))
        for button in self.buttons:
            self._offer(button, BY_TOOL[button.property("tool")])


class MapHead(QWidget):
    """Title and buttons over a map in one row; where that is too narrow, the tools go into a
    second one."""

    def __init__(self, title: QWidget, tools: QWidget, *others: QWidget) -> None:
        super().__init__()
        self._title, self._tools, self._others = title, tools, others
        self._below: bool | None = None
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setSpacing(SPACE // 2)
        self._grid.setColumnStretch(0, 1)
        self._grid.addWidget(title, 0, 0)
        for column, widget in enumerate(others):
            self._grid.addWidget(widget, 0, 2 + column)
        self.arrange()

    def arrange(self) -> None:
        """Put the tools where there is room for them."""
        both = (self._title, self._tools, *self._others)
        need = sum(widget.sizeHint().width() + SPACE // 2 for widget in both)
        below = need > self.width()
        if below == self._below:
            return
        self._below = below
        self._grid.removeWidget(self._tools)
        left = Qt.AlignmentFlag.AlignLeft
        if below:
            self._grid.addWidget(self._tools, 1, 0, 1, 2 + len(self._others), left)
        else:
            self._grid.addWidget(self._tools, 0, 1)

    def event(self, event: QEvent) -> bool:
        if event.type() in (QEvent.Type.Resize, QEvent.Type.LayoutRequest):
            self.arrange()
        return super().event(event)


def tip_of(choice: Choice) -> str:
    """What a tool does, and the keys that go with it."""
    hint = HINTS.get(choice.tool.split(" ")[0], "")
    return f"{choice.words} ({choice.key})" + (f"\n{hint}" if hint else "")

"""The window: places the panes and connects them. Logic lives elsewhere."""

from pathlib import Path

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QAction, QActionGroup, QCloseEvent, QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import (
    QApplication,
    QComboBox,
    QLabel,
    QMainWindow,
    QMenu,
    QMessageBox,
    QSizePolicy,
    QSlider,
    QSplitter,
    QStackedWidget,
    QTabWidget,
    QToolBar,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from depthwright import __version__
from depthwright.results import words
from depthwright.units import LENGTH_UNITS
from depthwright_app import settings, theme
from depthwright_app.actions import Commands
from depthwright_app.background import Background
from depthwright_app.command_table import MENUS, Menu, command_table
from depthwright_app.document import Document
from depthwright_app.edit_keeper import recovery_folder
from depthwright_app.entries import Entries
from depthwright_app.exporter import Exporter
from depthwright_app.job_keeper import JobKeeper
from depthwright_app.ledger.panel import Ledger
from depthwright_app.marking import MODES, Marking
from depthwright_app.message_strip import MessageStrip
from depthwright_app.panels.details import Details
from depthwright_app.panels.display_settings import EXAGGERATIONS
from depthwright_app.panels.marks_tree import MarksTree
from depthwright_app.panels.proposals_bar import ProposalsBar
from depthwright_app.panels.recipe_panel import MOST_GAIN_DB, RecipePanel
from depthwright_app.presenter import Presenter
from depthwright_app.proposing import Proposing
from depthwright_app.section.view import COLOUR_MAPS, SectionPane
from depthwright_app.start_page import StartPage
from depthwright_app.viewing import Viewing


class MainWindow(QMainWindow):
    """One job in one window."""

    def __init__(
        self,
        record: Path | None = None,
        background: Background | None = None,
        recoveries: Path | None = None,
    ) -> None:
        super().__init__()
        self.document = Document(self)
        self.background = background or Background(self)
        self.keeper = JobKeeper(
            self.document,
            self.background,
            self,
            record or settings.settings_path(),
            recoveries or recovery_folder(),
        )
        self.exporter = Exporter(self.document, self.background, self.keeper)
        self.pane, self.start, self.middle = SectionPane(), StartPage(), QStackedWidget()
        self.proposing = Proposing(self.document, self.background, self)
        self.marking = Marking(self.document, self.pane, self.proposing)
        self.tree, self.details = MarksTree(), Details()
        self.ledger, self.recipe_panel, self.side = Ledger(), RecipePanel(), QTabWidget()
        self.colours = self.recipe_panel.display.colours
        self.colours.addItems(list(COLOUR_MAPS))
        self.strip = MessageStrip()
        self.background.progressed.connect(self.strip.show_progress)
        self.viewing, self.presenter, self.entries = Viewing(self), Presenter(self), Entries(self)
        self.exporter.style = self.viewing.style
        self.keeper.look = self.look
        self.commands = Commands(self, command_table(self))
        self.proposals = ProposalsBar(self.commands.actions)
        self._place_panes()
        self._make_toolbars()
        self._make_menus()
        self.presenter.connect_all()
        self.viewing.connect_all()
        self.entries.connect_all()
        self.marking.set_mode(self.marking.mode.id)
        self.setAcceptDrops(True)
        self.resize(1440, 900)
        self.apply_look()
        self.presenter.show_everything()
        self.strip.say("Open a line or a job, or drop one on this window.", False)

    def _place_panes(self) -> None:
        # From the outside in: whatever is moved into another widget is styled anew with all that it holds.
        centre = QWidget(self)
        self.setCentralWidget(centre)
        box = QVBoxLayout(centre)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(0)
        across = QSplitter(Qt.Orientation.Horizontal, centre)
        box.addWidget(across, 1)
        left = QSplitter(Qt.Orientation.Vertical, across)
        left.setChildrenCollapsible(False)
        for pane in (self.tree, self.details):
            left.addWidget(pane)
            left.setStretchFactor(left.indexOf(pane), 1)
        left.setSizes([360, 440])
        across.addWidget(self.middle)
        self.middle.addWidget(self.start)
        self.middle.addWidget(self.pane)
        across.addWidget(self.side)
        self.side.setDocumentMode(True)
        self.side.setAccessibleName("Evidence and picture")
        self.side.addTab(self.ledger, "Evidence")
        self.side.addTab(self.recipe_panel, "Picture")
        for index, share in enumerate((1, 8, 1)):
            across.setStretchFactor(index, share)
        across.setSizes([290, 820, 330])
        across.setHandleWidth(1)
        box.addWidget(self.proposals)
        box.addWidget(self.strip)

    def _make_toolbars(self) -> None:
        bar = QToolBar("Actions")
        bar.setMovable(False)
        bar.setIconSize(QSize(16, 16))
        bar.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.addToolBar(bar)
        modes = QActionGroup(self)
        for mode in MODES:
            modes.addAction(self.commands[f"mode-{mode.id}"])
        bar.addActions(modes.actions())
        bar.addSeparator()
        bar.addAction(self.commands["propose"])
        bar.addSeparator()
        self.gain = _slider("Gain", 0, MOST_GAIN_DB, "Gain with depth, dB per 100 mm")
        self.contrast = _slider("Contrast", -20, 20, "Contrast of what is shown")
        for label, control in (("Gain", self.gain), ("Contrast", self.contrast)):
            bar.addWidget(_label(label))
            bar.addWidget(control)
        bar.addSeparator()
        self.units = QComboBox()
        self.units.addItems(list(LENGTH_UNITS))
        self.units.setToolTip("Unit of all lengths")
        self.units.setAccessibleName("Unit")
        bar.addWidget(self.units)
        stretch = QWidget()
        stretch.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        bar.addWidget(stretch)
        for command_id in ("undo", "redo", "export-image"):
            action = self.commands[command_id]
            bar.addAction(action)
            button = bar.widgetForAction(action)
            assert isinstance(button, QToolButton)
            button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)

    def _make_menus(self) -> None:
        factors = QActionGroup(self)
        for name in EXAGGERATIONS:
            factors.addAction(self.commands[f"exaggeration-{name.lower()}"])
        factors.actions()[0].setChecked(True)
        for title, ids in MENUS.items():
            menu = self.menuBar().addMenu(title)
            self._fill_menu(menu, ids)
            if title == "&File":
                self.recent = menu.addMenu("Open &recent")
                self.recent.aboutToShow.connect(self._fill_recent)

    def _fill_menu(self, menu: QMenu, ids: Menu) -> None:
        for entry in ids:
            if isinstance(entry, tuple):
                title, inside = entry
                self._fill_menu(menu.addMenu(title), inside)
            elif entry:
                menu.addAction(self.commands[entry])
            else:
                menu.addSeparator()

    def _fill_recent(self) -> None:
        self.recent.clear()
        for text in self.keeper.settings.recent:
            entry = QAction(text, self.recent)
            entry.triggered.connect(lambda _=False, path=text: self.keeper.open_path(Path(path)))
            self.recent.addAction(entry)
        if not self.keeper.settings.recent:
            self.recent.addAction("Nothing opened yet").setEnabled(False)

    def show_side(self, side: QWidget) -> None:
        """Bring the ledger or the picture's settings to the front, with the keyboard in it."""
        self.side.setCurrentWidget(side)
        side.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def look(self) -> theme.Look:
        """Light or dark, as chosen or as the system asks."""
        chosen = self.keeper.settings.appearance
        return {"light": theme.LIGHT, "dark": theme.DARK}.get(chosen) or theme.system_look()

    def apply_look(self) -> None:
        """Put the whole window into light or dark."""
        look = self.look()
        app = QApplication.instance()
        assert isinstance(app, QApplication)
        theme.apply(app, look)
        self.commands.show_look(look)
        for part in (self.pane, self.ledger, self.recipe_panel, self.strip):
            part.show_look(look)
        self.start.show_look_font()
        self.pane.show_font(self.font())
        self.ledger.show_font(self.font())
        self.recipe_panel.show_font(self.font())

    def about(self) -> None:
        """What this is, and its cautions."""
        QMessageBox.about(
            self,
            "About Depthwright",
            f"Depthwright {__version__}\n\n" + "\n\n".join(words.CAUTIONS),
        )

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        """Files may be dropped."""
        if event.mimeData().hasUrls():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Open what was dropped."""
        urls = event.mimeData().urls()
        self.keeper.open_paths([Path(url.toLocalFile()) for url in urls if url.isLocalFile()])

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Unsaved marks and files half written are asked about; threads are joined."""
        if not (self.exporter.may_close() and self.keeper.may_leave()):
            event.ignore()
            return
        self.background.close()
        self.keeper.close()
        event.accept()


def _label(text: str) -> QLabel:
    label = QLabel(text)
    label.setProperty("quiet", True)
    label.setContentsMargins(theme.GRID, 0, 2, 0)
    return label


def _slider(name: str, low: int, high: int, tip: str) -> QSlider:
    slider = QSlider(Qt.Orientation.Horizontal)
    slider.setRange(low, high)
    slider.setFixedWidth(64)
    slider.setToolTip(tip)
    slider.setAccessibleName(name)
    return slider

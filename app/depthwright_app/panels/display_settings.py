"""How the picture is drawn: colours, contrast, exaggeration. No step of the recipe, no edit of the job."""

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QSlider

from depthwright_app.panels.recipe_steps import Settings

EXAGGERATIONS: dict[str, float | None] = {
    "Fill": None,
    "1:1": 1.0,
    "2:1": 2.0,
    "5:1": 5.0,
    "10:1": 10.0,
}
"""How much larger depth is drawn than distance; Fill takes the room there is."""


class DisplaySettings(Settings):
    """The controls under "Display"; the window connects them."""

    exaggeration_chosen = Signal(object)

    def __init__(self) -> None:
        super().__init__(indent_px=0)
        self.colours, self.exaggeration = QComboBox(), QComboBox()
        self.contrast = QSlider(Qt.Orientation.Horizontal)
        self.contrast.setRange(-20, 20)
        self.exaggeration.addItems(list(EXAGGERATIONS))
        self.swap, self.pin = QCheckBox("Swap light and dark"), QCheckBox("Pin the trace")
        for control, name, tip in (
            (self.colours, "Colour map", "Colours of the section"),
            (self.contrast, "Contrast", "Contrast of what is shown"),
            (
                self.exaggeration,
                "Exaggeration",
                "Depth against distance: 2:1 draws depth twice as large; Fill uses all the room",
            ),
        ):
            control.setToolTip(tip)
            control.setAccessibleName(name)
            self.add(name, control, wide=True)
        self.swap.setToolTip("Shows peaks dark and troughs light, or the other way round")
        self.pin.setToolTip("Keeps the trace shown beside the section while the pointer moves on")
        for switch in (self.swap, self.pin):
            switch.setAccessibleDescription(switch.toolTip())
            self.add_wide(switch)
        self.exaggeration.activated.connect(self._chosen)

    def show_exaggeration(self, value: float | None) -> None:
        """The exaggeration as it stands."""
        self.exaggeration.setCurrentIndex(list(EXAGGERATIONS.values()).index(value))

    def _chosen(self, index: int) -> None:
        self.exaggeration_chosen.emit(list(EXAGGERATIONS.values())[index])

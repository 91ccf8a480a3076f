"""What the templates get: one frozen record for each page and each thing on it.

Templates print these and compute nothing. A test holds the fields against the names that the templates use.
"""

from benchproof.report.views.pages import (
    Frame,
    IndexContext,
    IndexRow,
    ReportContext,
)
from benchproof.report.views.shown import (
    Cell,
    ChartView,
    Download,
    FigureGroup,
    FigureRow,
    FigureTable,
    Headline,
    Key,
    PointGroup,
    PointRows,
    TableColumn,
    TableRow,
    TableView,
)
from benchproof.report.views.told import (
    ChoiceView,
    ClaimView,
    DownloadGroup,
    ExclusionView,
    InspectionView,
    Link,
    MethodView,
    Provenance,
    SectionView,
    Setup,
    Thing,
    WarningView,
)

__all__ = [
    "Cell",
    "ChartView",
    "ChoiceView",
    "ClaimView",
    "Download",
    "DownloadGroup",
    "ExclusionView",
    "FigureGroup",
    "FigureRow",
    "FigureTable",
    "Frame",
    "Headline",
    "IndexContext",
    "IndexRow",
    "InspectionView",
    "Key",
    "Link",
    "MethodView",
    "PointGroup",
    "PointRows",
    "Provenance",
    "ReportContext",
    "SectionView",
    "Setup",
    "TableColumn",
    "TableRow",
    "TableView",
    "Thing",
    "WarningView",
]

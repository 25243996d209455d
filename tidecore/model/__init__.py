"""Tide models: constituents with what follows from them, fitted or given, stored without loss."""

from tidecore.model.fitting import fit
from tidecore.model.tide import FitDiagnostics, TideModel

__all__ = ["FitDiagnostics", "TideModel", "fit"]

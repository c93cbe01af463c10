"""Judges any answer, and shares only the words of the problem with what it judges."""

from nester.verify.faults import Fault, FaultKind, InvalidPlanError
from nester.verify.layouts import require_valid, verify
from nester.verify.measures import faults_of_measures, require_followable
from nester.verify.purchase import InvalidPurchaseError, require_valid_purchase, verify_purchase

__all__ = [
    "Fault",
    "FaultKind",
    "InvalidPlanError",
    "InvalidPurchaseError",
    "faults_of_measures",
    "require_followable",
    "require_valid",
    "require_valid_purchase",
    "verify",
    "verify_purchase",
]

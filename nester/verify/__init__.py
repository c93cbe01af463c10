"""Judges any answer, and shares only the words of the problem with what it judges."""

from nester.verify.layouts import Fault, FaultKind, PlanFault, require, verify
from nester.verify.purchase import PurchaseFault, faults_of_purchase, require_purchase

__all__ = [
    "Fault",
    "FaultKind",
    "PlanFault",
    "PurchaseFault",
    "faults_of_purchase",
    "require",
    "require_purchase",
    "verify",
]

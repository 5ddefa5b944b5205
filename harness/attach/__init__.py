"""Attach a controller under test: one module a kind, behind one small seam."""

from harness.attach.base import LINK_REQUIREMENTS, AttachError, Attachment, LinkFault, Refused
from harness.attach.drive import drive
from harness.attach.registry import KINDS, attach

__all__ = [
    "KINDS",
    "LINK_REQUIREMENTS",
    "AttachError",
    "Attachment",
    "LinkFault",
    "Refused",
    "attach",
    "drive",
]

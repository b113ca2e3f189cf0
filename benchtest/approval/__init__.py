"""Approval of profiles: an approver signs what a profile says now, and a site can refuse everything else."""

from benchtest.approval.standing import Examined, State, approvers_of, examine, nobody, permit
from benchtest.approval.statement import Approval, approval_file, approve, read_approvals

__all__ = [
    "Approval",
    "Examined",
    "State",
    "approval_file",
    "approve",
    "approvers_of",
    "examine",
    "nobody",
    "permit",
    "read_approvals",
]

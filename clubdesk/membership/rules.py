"""The rules about memberships that the database itself keeps."""

from clubdesk.guards import kept

GUARDS = [
    *kept("membership_membership", "membership", "person_id", "charge_id", "starts_on"),
    *kept("membership_remittance", "remittance", "amount", "association_id", "paid_on"),
]

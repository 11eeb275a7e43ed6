"""Every table, declared: whose rows are one organization's, and which are everybody's, with the reason.

A new model without a line here fails test_tenants.py.
"""

#: Rows of one organization, and the column that says of which: their own, or that of the row they hang on.
TENANT = {
    "collection.Organization": "id",
    "collection.Membership": "organization",
    "collection.Membership_sites": "membership__organization",
    "collection.Invitation": "organization",
    "collection.Invitation_sites": "invitation__organization",
    "collection.Change": "organization",
    "collection.Site": "organization",
    "collection.Floor": "organization",
    "collection.Bay": "organization",
    "collection.FloorSlope": "organization",
    "collection.FloorReading": "organization",
    "collection.Machine": "organization",
    "collection.MachineStatus": "organization",
    "collection.Leg": "organization",
    "collection.Spec": "organization",
    "collection.Standing": "organization",
    "collection.Instrument": "organization",
    "collection.InstrumentEvent": "organization",
    "collection.ZeroCheck": "organization",
    "collection.VialPair": "organization",
    "collection.Survey": "organization",
    "collection.Reading": "organization",
    "collection.QuickCheck": "organization",
    "collection.Plan": "organization",
    "collection.PlanLeg": "organization",
    "collection.Adjustment": "organization",
    "collection.ReportLink": "organization",
    "collection.Report": "organization",
}

#: Rows that whoever holds a secret of 256 bits finds by its hash, and then acts for their organization.
SECRET = {"collection.Invitation": "token_sha256", "collection.ReportLink": "token_sha256"}

#: Rows that belong to no organization.
GLOBAL = {
    "collection.User": "a person may belong to several organizations; nobody reads it but by a membership or a session",
    "account.EmailAddress": "of a person's own account, read by that person alone",
    "account.EmailConfirmation": "of a person's own address, found by a signed key",
    "mfa.Authenticator": "of a person's own account: what proves who they are, read for that person alone",
    "usersessions.UserSession": "of a person's own devices, read by that person alone",
    "sessions.Session": "of one browser, found by its random key",
    "contenttypes.ContentType": "names of tables, from the code",
    "auth.Permission": "names of rights, from the code; nothing of ours asks for them",
    "auth.Group": "comes with Django's accounts and stays empty",
    "auth.Group_permissions": "comes with Django's accounts and stays empty",
}

"""A row is opened whatever an address says of a column that has no name."""

import pytest

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("address", ["/auth/user/1/change/", "/auth/group/1/change/", "/ledger/account/1/change/"])
def test_a_column_without_a_name_in_an_address_is_none(client, keeper, address):
    client.force_login(keeper)
    assert client.get(address, {"_to_field": ""}).status_code == 200

package documents_test

import (
	"testing"

	"levinward/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

//go:build !unix

package storetest

import "syscall"

func asOwner() *syscall.SysProcAttr { return nil }

func giveAway(string) error { return nil }
